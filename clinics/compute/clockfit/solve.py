"""The joint least squares over all recordings, cameras, starts and ties of a clinic.

Unknown are a zero per recording, a rate per camera, how far each start lies from its tap, how
late the log is as a whole (if a known instant says), and per recording a common error of all
that it hears: the signal's first moments reach it blurred by echoes, and its station does not
stand to the centimetre where the plan says.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from clinics.compute.clockfit.agree import RATE_LIMIT_PPM, told_s
from clinics.compute.clockfit.types import (
    SAME_MOMENT,
    SOUND,
    START_HEARD,
    RecordingIn,
    SwimIn,
    TieIn,
)

RATE_U_PPM = 100.0
UNKNOWN_BLUR_S = 0.002
LATENESS_U_S = 0.3  # of the log as a whole, as long as nothing measures it
MEASURED_U_S, FIXED_U_S = 1e4, 1e-6
OUTLIER_SIGMAS = 4.0
LEAST_SOUND_U_S = 0.00001
Matrix = NDArray[np.float64]
Unknown = tuple[str, str]


@dataclass
class Solved:
    """The solution `x`, its covariance, and where each unknown stands in it."""

    ties: list[TieIn]
    recordings: dict[str, RecordingIn]
    at: dict[Unknown, int]
    x: Matrix
    covariance: Matrix
    residual_s: dict[str, float]
    sigmas: dict[str, float]
    measures_lateness: bool = field(default=False)

    def row(self, **terms: float) -> Matrix:
        row = np.zeros(len(self.x))
        for name, value in terms.items():
            kind, _, key = name.partition(":")
            row[self.at[kind, key]] += value
        return row

    def clock_row(self, recording: RecordingIn, media_s: float) -> Matrix:
        """How clinic time at a media time depends on the unknowns."""
        passed_s = media_s / recording.slow_motion
        return self.row(
            **{f"zero:{recording.key}": 1.0, f"rate:{recording.camera}": passed_s * 1e-6}
        )

    def u_s(self, row: Matrix) -> float:
        return math.sqrt(max(float(row @ self.covariance @ row), 0.0))

    def zero_s(self, key: str) -> float:
        return float(self.x[self.at["zero", key]])

    def rate_ppm(self, camera: str) -> float:
        """Of the camera's clock, without a stretch to slow motion."""
        return float(self.x[self.at["rate", camera]])


def _recordings_of(tie: TieIn) -> list[str]:
    return [tie.recording] if tie.other is None else [tie.recording, tie.other]


def measures_lateness(ties: Sequence[TieIn]) -> bool:
    """Whether a known instant is joined to a start, by recordings that share starts."""
    group: dict[str, str] = {}

    def root(node: str) -> str:
        while group.setdefault(node, node) != node:
            node = group[node]
        return node

    for tie in ties:
        if tie.swim is not None:
            group[root("r:" + tie.recording)] = root("s:" + tie.swim)
        if tie.other is not None:
            group[root("r:" + tie.recording)] = root("r:" + tie.other)
    starts = {root("r:" + tie.recording) for tie in ties if tie.swim is not None}
    instants = {root("r:" + tie.recording) for tie in ties if tie.instant_s is not None}
    return bool(starts & instants)


def solve(
    recordings: Sequence[RecordingIn],
    swim_of: Mapping[str, SwimIn],
    ties: Sequence[TieIn],
    blur_s: Mapping[str, float],
) -> Solved:
    """`blur_s`: standard uncertainty that a recording's arrivals of sound share."""
    used = {key for tie in ties for key in _recordings_of(tie)}
    by_key = {recording.key: recording for recording in recordings if recording.key in used}
    at = _unknowns(by_key, ties)
    reference_s = _reference_s(swim_of, ties)
    rows, told, sigmas = [], [], []
    for tie in ties:
        row = np.zeros(len(at))
        row_told = _tie_row(row, tie, by_key, swim_of, at, reference_s)
        rows.append(row)
        told.append(row_told)
        sigmas.append(tie.u_s)
    for unknown, sigma in _priors(at, by_key, swim_of, ties, blur_s):
        row = np.zeros(len(at))
        row[at[unknown]] = 1.0
        rows.append(row)
        told.append(0.0)
        sigmas.append(sigma)
    design = np.array(rows) / np.array(sigmas)[:, None]
    target = np.array(told) / np.array(sigmas)
    x, covariance = _least_squares(design, target)
    residual, in_sigmas = {}, {}
    for n, tie in enumerate(ties):
        scaled = float(target[n] - design[n] @ x)
        left = max(1.0 - float(design[n] @ covariance @ design[n]), 1e-6)
        residual[tie.key] = -scaled * tie.u_s
        in_sigmas[tie.key] = abs(scaled) / math.sqrt(left)
    x[[at["zero", key] for key in by_key]] += reference_s
    measured = measures_lateness(ties)
    return Solved(list(ties), by_key, at, x, covariance, residual, in_sigmas, measured)


def _unknowns(by_key: Mapping[str, RecordingIn], ties: Sequence[TieIn]) -> dict[Unknown, int]:
    cameras = sorted({recording.camera for recording in by_key.values()})
    swims = sorted({tie.swim for tie in ties if tie.swim is not None})
    listening = sorted({tie.recording for tie in ties if _is_sound(tie)})
    unknowns = [("zero", key) for key in sorted(by_key)] + [("rate", c) for c in cameras]
    unknowns += [("start", key) for key in swims] + [("late", "log")]
    unknowns += [("blur", key) for key in listening]
    return {unknown: n for n, unknown in enumerate(unknowns)}


def _is_sound(tie: TieIn) -> bool:
    return tie.kind == START_HEARD and tie.found_by == SOUND


def _reference_s(swim_of: Mapping[str, SwimIn], ties: Sequence[TieIn]) -> float:
    known = [told_s(tie, swim_of) for tie in ties if tie.kind != SAME_MOMENT]
    return float(np.mean(known)) if known else 0.0


def _tie_row(
    row: Matrix,
    tie: TieIn,
    by_key: Mapping[str, RecordingIn],
    swim_of: Mapping[str, SwimIn],
    at: Mapping[Unknown, int],
    reference_s: float,
) -> float:
    """Fills the tie's row; what it is told to be, with zeros counted from `reference_s`."""
    own = by_key[tie.recording]
    passed_s = tie.event_s / own.slow_motion
    row[at["zero", own.key]] += 1.0
    row[at["rate", own.camera]] += passed_s * 1e-6
    if _is_sound(tie):
        row[at["blur", own.key]] += 1.0
    if tie.other is not None:
        other = by_key[tie.other]
        other_s = tie.other_event_s / other.slow_motion
        row[at["zero", other.key]] -= 1.0
        row[at["rate", other.camera]] -= other_s * 1e-6
        return other_s - passed_s + tie.travel_s
    if tie.swim is not None:
        row[at["start", tie.swim]] -= 1.0
        row[at["late", "log"]] += 1.0
    return told_s(tie, swim_of) - reference_s - passed_s


def _priors(
    at: Mapping[Unknown, int],
    by_key: Mapping[str, RecordingIn],
    swim_of: Mapping[str, SwimIn],
    ties: Sequence[TieIn],
    blur_s: Mapping[str, float],
) -> Iterable[tuple[Unknown, float]]:
    instants = any(tie.instant_s is not None for tie in ties)
    late_u_s = LATENESS_U_S if instants else FIXED_U_S
    for unknown in at:
        kind, key = unknown
        if kind == "rate":
            yield unknown, RATE_U_PPM
        elif kind == "start":
            yield unknown, swim_of[key].u_s
        elif kind == "late":
            yield unknown, MEASURED_U_S if measures_lateness(ties) else late_u_s
        elif kind == "blur":
            yield unknown, math.hypot(blur_s.get(key, UNKNOWN_BLUR_S), by_key[key].place_u_s)


def _least_squares(design: Matrix, target: Matrix) -> tuple[Matrix, Matrix]:
    """Solution and covariance of a weighted problem, by SVD of columns brought to one size:
    uncertainties from a microsecond to hours stand in it, which normal equations would lose.
    What nothing determines (two recordings tied only to each other) stays near zero, unsure."""
    scale = np.linalg.norm(design, axis=0)
    u, s, vt = np.linalg.svd(design / scale, full_matrices=False)
    s = np.maximum(s, s[0] * 1e-13)
    half = vt.T / s / scale[:, None]
    return half @ (u.T @ target), half @ half.T


def solve_robustly(
    recordings: Sequence[RecordingIn],
    swim_of: Mapping[str, SwimIn],
    ties: Sequence[TieIn],
    aside: dict[str, str],
    blur_s: Mapping[str, float],
) -> Solved | None:
    """Solve; set the worst ties aside while they stand out and enough others stay.

    Ties that a person placed go one by one, at most a quarter of them; arrivals of sound go the
    worst of each recording at a time, and how they scatter is then taken from what is left.
    """
    left = list(ties)
    if not left:
        return None
    may_go = sum(not _is_sound(tie) for tie in left) // 4
    solved = solve(recordings, swim_of, left, blur_s)
    for _ in range(len(ties)):
        worst = _worst(solved, left, may_go)
        if not worst:
            break
        for tie in worst:
            off_ms = 1000 * solved.residual_s[tie.key]
            what = "an echo or another sound?" if _is_sound(tie) else "wrong frame?"
            aside[tie.key] = f"{off_ms:+.1f} ms from what the other ties say: {what}"
            may_go -= not _is_sound(tie)
        gone = {tie.key for tie in worst}
        left = [tie for tie in left if tie.key not in gone]
        solved = solve(recordings, swim_of, left, blur_s)
    scattered = _as_they_scatter(solved, left)
    return solve(recordings, swim_of, scattered, blur_s) if scattered != left else solved


def _worst(solved: Solved, ties: list[TieIn], may_go: int) -> list[TieIn]:
    by_recording: dict[str, list[TieIn]] = defaultdict(list)
    for tie in ties:
        by_recording[tie.recording].append(tie)
    heard, placed = [], []
    for its in by_recording.values():
        sound = [tie for tie in its if _is_sound(tie)]
        if len(sound) >= 3:
            heard.append(max(sound, key=lambda tie: solved.sigmas[tie.key]))
        if len(its) >= 3:
            placed += [tie for tie in its if not _is_sound(tie)]
    worst = [tie for tie in heard if solved.sigmas[tie.key] > OUTLIER_SIGMAS]
    if placed and may_go > 0:
        one = max(placed, key=lambda tie: solved.sigmas[tie.key])
        if solved.sigmas[one.key] > OUTLIER_SIGMAS:
            worst.append(one)
    return worst


def _as_they_scatter(solved: Solved, ties: list[TieIn]) -> list[TieIn]:
    """Each recording's arrivals with the uncertainty that their residuals show."""
    off: dict[str, list[float]] = defaultdict(list)
    for tie in ties:
        if _is_sound(tie):
            off[tie.recording].append(solved.residual_s[tie.key])
    shown = {
        key: max(float(np.sqrt(np.mean(np.square(its)))) * math.sqrt(2.0), LEAST_SOUND_U_S)
        for key, its in off.items()
        if len(its) >= 4
    }
    return [
        replace(tie, u_s=shown[tie.recording]) if _is_sound(tie) and tie.recording in shown else tie
        for tie in ties
    ]


def too_fast(solved: Solved) -> dict[str, str]:
    """Recordings whose ties ask for a clock that no camera has, with the sentence."""
    refused = {}
    for recording in solved.recordings.values():
        rate_ppm = solved.rate_ppm(recording.camera)
        if abs(rate_ppm) > RATE_LIMIT_PPM:
            refused[recording.key] = (
                f"The ties ask for a clock that is {rate_ppm:+.0f} ppm off, and no camera is off "
                f"by more than {RATE_LIMIT_PPM:.0f}: a tie is wrong, or it is slow motion."
            )
    return refused
