"""Fits all clocks of a clinic together, from ties that people placed.

Unknown are an offset per recording, a rate per camera, how far each start lies from its tap,
and (if instants are known from elsewhere) how late the start log is as a whole:

    zero_r + media_s * (1 + rate_c) = tap_i - lateness + scatter_i + travel   (a start)
    zero_r + media_s * (1 + rate_c) = instant                                 (a known instant)

Taps scatter by 0.15 s, frames by 0.01 s. So two recordings that are tied to the same starts
agree to a frame although each lies 0.1 s off the taps: hence one joint weighted least squares
(numpy.linalg), not one line per recording. Rates are drawn to zero as far as ties cannot tell
(camera clocks are off by up to about 100 ppm), so that one tie gives the offset with rate 1 and
says what that costs away from it.

An event placed on a frame stands at "first frame at or after": half a frame interval is taken
off. A heard start is later by the sound's travel.

Clinic time is fixed so that the scatters of the tied starts have mean zero; only a known
instant moves it. Positive residual: the tie's frame is later than the fit says.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

RATE_U_PPM = 100.0
RATE_LIMIT_PPM = 150.0
LATENESS_U_S = 0.3  # of the log as a whole, as long as nothing measures it
MEASURED_U_S, FIXED_U_S = 1e4, 1e-6
AGREE_SIGMAS = 5.0
OUTLIER_SIGMAS = 4.0
FILE_DATE_U_MS = 2000.0
START_SEEN, START_HEARD, INSTANT = "start-seen", "start-heard", "instant"
SURE, LOOK, NOT_FOUND = "sure", "look", "not-found"
TIES, FILE_DATE, NOTHING = "ties", "file date", "none"  # by which a recording was placed
Matrix = NDArray[np.float64]


@dataclass(frozen=True)
class TieIn:
    """`media_s` of the frame on which it was placed; `half_frame_s` half the interval before
    that frame; `u_s` its standard uncertainty; `travel_s` of the sound, if it was heard."""

    key: str
    recording: str
    kind: str
    media_s: float
    half_frame_s: float
    u_s: float
    swim: str | None = None
    instant_s: float | None = None
    travel_s: float = 0.0

    @property
    def event_s(self) -> float:
        """Media time of the event itself."""
        return self.media_s - self.half_frame_s


@dataclass(frozen=True)
class RecordingIn:
    key: str
    camera: str
    duration_s: float
    frame_s: float


@dataclass(frozen=True)
class SwimIn:
    """A start as tapped (clinic seconds) and its standard uncertainty against other taps."""

    key: str
    tap_s: float
    u_s: float


@dataclass(frozen=True)
class RecordingFit:
    """`zero_s`: clinic seconds of media_s = 0, None if not found. `u_ms`: the largest standard
    uncertainty over the recording, relative to the other recordings; `u_mid_ms` in its middle,
    `u_begin_ms` and `u_end_ms` at its ends. `reason`: why it is not sure, for a person."""

    key: str
    zero_s: float | None
    rate_ppm: float
    u_ms: float | None
    u_begin_ms: float | None
    u_mid_ms: float | None
    u_end_ms: float | None
    state: str
    method: str
    ties: int
    reason: str


@dataclass(frozen=True)
class TieFit:
    """`residual_ms` None and `set_aside` a reason when the tie does not count."""

    key: str
    residual_ms: float | None
    set_aside: str = ""


@dataclass(frozen=True)
class SwimFit:
    """`by` is how the start is known now: heard, seen (both tied) or tap."""

    key: str
    start_s: float
    u_s: float
    by: str


@dataclass(frozen=True)
class ClinicFit:
    """`lateness_s`: how late taps are as a whole, None if no known instant measures it."""

    recordings: dict[str, RecordingFit]
    ties: dict[str, TieFit]
    swims: dict[str, SwimFit]
    lateness_s: float | None
    lateness_u_s: float | None


def fit_clinic(
    recordings: Sequence[RecordingIn], swims: Sequence[SwimIn], ties: Sequence[TieIn]
) -> ClinicFit:
    """Fit every recording that has a tie. Recordings without one come back `not-found`."""
    swim_of = {swim.key: swim for swim in swims}
    by_recording: dict[str, list[TieIn]] = defaultdict(list)
    for tie in ties:
        by_recording[tie.recording].append(tie)
    kept: list[TieIn] = []
    aside: dict[str, str] = {}
    refused: dict[str, str] = {}
    for key, its in by_recording.items():
        agreeing, why = _agreeing(its, swim_of)
        if why:
            refused[key] = why
            aside.update({tie.key: why for tie in its})
            continue
        kept += agreeing
        for tie in its:
            if tie not in agreeing:
                aside[tie.key] = _off_by(tie, agreeing, swim_of)
    solved = _solve_robustly(recordings, swim_of, kept, aside)
    if solved is not None:
        _refuse_rates(solved, refused)
        if refused and any(tie.recording in refused for tie in solved.ties):
            aside |= {t.key: refused[t.recording] for t in kept if t.recording in refused}
            left = [tie for tie in solved.ties if tie.recording not in refused]
            solved = _solve_robustly(recordings, swim_of, left, aside)
    return _result(recordings, swims, ties, solved, aside, refused)


# --- which ties agree ----------------------------------------------------------------------


def _implied_zero_s(tie: TieIn, swim_of: Mapping[str, SwimIn]) -> float:
    """Where the recording's zero would lie by this tie alone, with rate 1."""
    return _told_s(tie, swim_of) - tie.event_s


def _told_s(tie: TieIn, swim_of: Mapping[str, SwimIn]) -> float:
    if tie.swim is not None:
        return swim_of[tie.swim].tap_s + tie.travel_s
    assert tie.instant_s is not None
    return tie.instant_s


def _tie_u_s(tie: TieIn, swim_of: Mapping[str, SwimIn]) -> float:
    return math.hypot(tie.u_s, swim_of[tie.swim].u_s if tie.swim is not None else 0.0)


def _agree(one: TieIn, other: TieIn, swim_of: Mapping[str, SwimIn]) -> bool:
    """Whether two ties can both be right: within their scatter and a believable rate."""
    apart_s = abs(_implied_zero_s(one, swim_of) - _implied_zero_s(other, swim_of))
    scatter_s = AGREE_SIGMAS * math.hypot(_tie_u_s(one, swim_of), _tie_u_s(other, swim_of))
    return apart_s <= scatter_s + RATE_LIMIT_PPM * 1e-6 * abs(one.event_s - other.event_s)


def _agreeing(ties: list[TieIn], swim_of: Mapping[str, SwimIn]) -> tuple[list[TieIn], str]:
    """The ties of one recording that agree, or why none can be believed.

    Starts and known instants are judged apart: the start log may be off as a whole.
    """
    agreeing: list[TieIn] = []
    for starts in (True, False):
        kind = [tie for tie in ties if (tie.swim is not None) == starts]
        if not kind:
            continue
        largest = max(
            ([other for other in kind if _agree(tie, other, swim_of)] for tie in kind), key=len
        )
        if 2 * len(largest) <= len(kind):
            return [], _disagreement(kind, swim_of)
        agreeing += largest
    return agreeing, ""


def _disagreement(ties: list[TieIn], swim_of: Mapping[str, SwimIn]) -> str:
    zeros = [_implied_zero_s(tie, swim_of) for tie in ties]
    spread_s = max(zeros) - min(zeros)
    span_s = max(tie.event_s for tie in ties) - min(tie.event_s for tie in ties)
    told = [_told_s(tie, swim_of) for tie in ties]
    sentence = f"The ties disagree by {spread_s:.1f} s: one has the wrong swimmer or frame."
    if span_s > 0:
        rate_ppm = ((max(told) - min(told)) / span_s - 1) * 1e6
        sentence += (
            f" Were all right, the clock would be {rate_ppm:+.0f} ppm off, and no camera is off "
            f"by more than {RATE_LIMIT_PPM:.0f}; slow motion needs its factor first."
        )
    return sentence


def _off_by(tie: TieIn, agreeing: list[TieIn], swim_of: Mapping[str, SwimIn]) -> str:
    others = [t for t in agreeing if (t.swim is None) == (tie.swim is None)] or agreeing
    zeros = [_implied_zero_s(other, swim_of) for other in others]
    off_s = float(np.median(zeros)) - _implied_zero_s(tie, swim_of)
    return f"{off_s:+.1f} s from what the other ties say: wrong swimmer or frame?"


# --- the joint least squares ---------------------------------------------------------------


@dataclass
class _Solved:
    """The solution `x`, its covariance, and where each unknown stands in it."""

    ties: list[TieIn]
    recordings: dict[str, RecordingIn]
    at: dict[tuple[str, str], int]
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
        return self.row(
            **{f"zero:{recording.key}": 1.0, f"rate:{recording.camera}": media_s * 1e-6}
        )

    def u_s(self, row: Matrix) -> float:
        return math.sqrt(max(float(row @ self.covariance @ row), 0.0))

    def zero_s(self, key: str) -> float:
        return float(self.x[self.at["zero", key]])

    def rate_ppm(self, camera: str) -> float:
        return float(self.x[self.at["rate", camera]])


def _measures_lateness(ties: Sequence[TieIn]) -> bool:
    """Whether a known instant is joined to a start, by recordings that share starts."""
    group: dict[str, str] = {}

    def root(node: str) -> str:
        while group.setdefault(node, node) != node:
            node = group[node]
        return node

    for tie in ties:
        if tie.swim is not None:
            group[root("r:" + tie.recording)] = root("s:" + tie.swim)
    starts = {root("r:" + tie.recording) for tie in ties if tie.swim is not None}
    instants = {root("r:" + tie.recording) for tie in ties if tie.swim is None}
    return bool(starts & instants)


def _solve(
    recordings: Sequence[RecordingIn], swim_of: Mapping[str, SwimIn], ties: Sequence[TieIn]
) -> _Solved:
    used = {tie.recording for tie in ties}
    by_key = {recording.key: recording for recording in recordings if recording.key in used}
    cameras = sorted({recording.camera for recording in by_key.values()})
    tied_swims = sorted({tie.swim for tie in ties if tie.swim is not None})
    unknowns = [("zero", key) for key in sorted(by_key)] + [("rate", c) for c in cameras]
    unknowns += [("start", key) for key in tied_swims] + [("late", "log")]
    at = {unknown: n for n, unknown in enumerate(unknowns)}
    measured = _measures_lateness(ties)
    instants = any(tie.swim is None for tie in ties)
    late_u_s = MEASURED_U_S if measured else LATENESS_U_S if instants else FIXED_U_S
    reference_s = float(np.mean([_told_s(tie, swim_of) for tie in ties]))
    rows, told, sigmas = [], [], []
    for tie in ties:
        camera = by_key[tie.recording].camera
        row = np.zeros(len(unknowns))
        row[at["zero", tie.recording]] = 1.0
        row[at["rate", camera]] = tie.event_s * 1e-6
        if tie.swim is not None:
            row[at["start", tie.swim]] = -1.0
            row[at["late", "log"]] = 1.0
        rows.append(row)
        told.append(_told_s(tie, swim_of) - reference_s - tie.event_s)
        sigmas.append(tie.u_s)
    priors = [(("rate", camera), RATE_U_PPM) for camera in cameras]
    priors += [(("start", key), swim_of[key].u_s) for key in tied_swims]
    for unknown, sigma in [*priors, (("late", "log"), late_u_s)]:
        row = np.zeros(len(unknowns))
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
    zeros = [at["zero", key] for key in by_key]
    x[zeros] += reference_s
    return _Solved(list(ties), by_key, at, x, covariance, residual, in_sigmas, measured)


def _least_squares(design: Matrix, target: Matrix) -> tuple[Matrix, Matrix]:
    """Solution and covariance of a weighted problem, by SVD of columns brought to one size:
    uncertainties from a microsecond to hours stand in it, which normal equations would lose."""
    scale = np.linalg.norm(design, axis=0)
    u, s, vt = np.linalg.svd(design / scale, full_matrices=False)
    half = vt.T / s / scale[:, None]
    return half @ (u.T @ target), half @ half.T


def _solve_robustly(
    recordings: Sequence[RecordingIn],
    swim_of: Mapping[str, SwimIn],
    ties: Sequence[TieIn],
    aside: dict[str, str],
) -> _Solved | None:
    """Solve; set the worst tie aside while it stands out and enough others stay."""
    left = list(ties)
    if not left:
        return None
    may_go = len(left) // 4
    while True:
        solved = _solve(recordings, swim_of, left)
        count: dict[str, int] = defaultdict(int)
        for tie in left:
            count[tie.recording] += 1
        spare = [tie for tie in left if count[tie.recording] >= 3]
        worst = max(spare, key=lambda tie: solved.sigmas[tie.key], default=None)
        if worst is None or may_go == 0 or solved.sigmas[worst.key] <= OUTLIER_SIGMAS:
            return solved
        off_ms = 1000 * solved.residual_s[worst.key]
        aside[worst.key] = f"{off_ms:+.0f} ms from what the other ties say: wrong frame?"
        left.remove(worst)
        may_go -= 1


def _refuse_rates(solved: _Solved, refused: dict[str, str]) -> None:
    for recording in solved.recordings.values():
        rate_ppm = solved.rate_ppm(recording.camera)
        if abs(rate_ppm) > RATE_LIMIT_PPM:
            refused[recording.key] = (
                f"The ties ask for a clock that is {rate_ppm:+.0f} ppm off, and no camera is off "
                f"by more than {RATE_LIMIT_PPM:.0f}: a tie is wrong, or it is slow motion."
            )


# --- what comes out --------------------------------------------------------------------------


def _result(
    recordings: Sequence[RecordingIn],
    swims: Sequence[SwimIn],
    ties: Sequence[TieIn],
    solved: _Solved | None,
    aside: Mapping[str, str],
    refused: Mapping[str, str],
) -> ClinicFit:
    fits = {}
    for recording in recordings:
        if solved is not None and recording.key in solved.recordings:
            fits[recording.key] = _found(recording, solved)
        else:
            fits[recording.key] = not_found(recording.key, refused.get(recording.key, "No tie."))
    tie_fits = {}
    for tie in ties:
        counts = solved is not None and tie.key in solved.residual_s and tie.key not in aside
        residual_ms = 1000 * solved.residual_s[tie.key] if counts and solved else None
        tie_fits[tie.key] = TieFit(tie.key, residual_ms, "" if counts else aside.get(tie.key, ""))
    late_s = late_u_s = None
    if solved is not None and solved.measures_lateness:
        late = solved.row(**{"late:log": 1.0})
        late_s, late_u_s = float(late @ solved.x), solved.u_s(late)
    swim_fits = {swim.key: _start(swim, solved, late_s, late_u_s) for swim in swims}
    return ClinicFit(fits, tie_fits, swim_fits, late_s, late_u_s)


def not_found(key: str, reason: str) -> RecordingFit:
    return RecordingFit(key, None, 0.0, None, None, None, None, NOT_FOUND, NOTHING, 0, reason)


def _found(recording: RecordingIn, solved: _Solved) -> RecordingFit:
    its = [tie for tie in solved.ties if tie.recording == recording.key]
    places = (0.0, recording.duration_s / 2, recording.duration_s)
    u_ms = [1000 * _relative_u_s(recording, media_s, solved) for media_s in places]
    state, reason = _state(recording, its, max(u_ms), solved)
    return RecordingFit(
        key=recording.key,
        zero_s=solved.zero_s(recording.key),
        rate_ppm=solved.rate_ppm(recording.camera),
        u_ms=max(u_ms),
        u_begin_ms=u_ms[0],
        u_mid_ms=u_ms[1],
        u_end_ms=u_ms[2],
        state=state,
        method=TIES,
        ties=len(its),
        reason=reason,
    )


def _relative_u_s(recording: RecordingIn, media_s: float, solved: _Solved) -> float:
    """Uncertainty of this clock at that time against the other recordings' clocks at the same
    instant (or as near as they come); alone, against the tied starts."""
    own = solved.clock_row(recording, media_s)
    instant_s = solved.zero_s(recording.key) + media_s
    others = []
    for other in solved.recordings.values():
        if other.key != recording.key:
            at_s = min(max(instant_s - solved.zero_s(other.key), 0.0), other.duration_s)
            others.append(solved.clock_row(other, at_s))
    if not others:
        others = [_start_row(solved, tie.swim) for tie in solved.ties if tie.swim is not None]
    return _u_against_s(own, others, solved)


def _u_against_s(own: Matrix, others: list[Matrix], solved: _Solved) -> float:
    """Against the weighted mean of the others: one that is badly known counts for little."""
    if not others:
        return solved.u_s(own)
    weights = np.array([1 / (solved.u_s(own - other) ** 2 + 1e-12) for other in others])
    return solved.u_s(own - np.average(others, axis=0, weights=weights))


def _start_row(solved: _Solved, swim: str) -> Matrix:
    return solved.row(**{f"start:{swim}": 1.0, "late:log": -1.0})


def _state(
    recording: RecordingIn, ties: list[TieIn], u_ms: float, solved: _Solved
) -> tuple[str, str]:
    """`sure`: two ties or more that agree within a frame, and everywhere within a frame of the
    other recordings. Else a person should look, and the reason says at what."""
    frame_ms = 1000 * recording.frame_s
    worst_ms = max(abs(1000 * solved.residual_s[tie.key]) for tie in ties)
    worst_sigmas = max(solved.sigmas[tie.key] for tie in ties)
    if len(ties) < 2:
        return LOOK, (
            f"One tie: the rate is taken as 1, which far from the tie is worth ± {u_ms:.0f} ms. "
            "Place a second tie, far from the first."
        )
    if worst_ms > frame_ms and worst_sigmas > OUTLIER_SIGMAS:
        return LOOK, f"Its ties disagree by {worst_ms:.0f} ms, more than a frame."
    if u_ms > frame_ms:
        return LOOK, (
            f"± {u_ms:.0f} ms against the other recordings, more than a frame ({frame_ms:.0f} ms). "
            "Place ties on starts that other recordings are tied to, too."
        )
    return SURE, ""


def _start(
    swim: SwimIn, solved: _Solved | None, late_s: float | None, late_u_s: float | None
) -> SwimFit:
    """The start as the ties have it, if that says more than the tap."""
    tap = SwimFit(
        swim.key, swim.tap_s - (late_s or 0.0), math.hypot(swim.u_s, late_u_s or 0.0), "tap"
    )
    if solved is None or ("start", swim.key) not in solved.at:
        return tap
    kinds = {tie.kind for tie in solved.ties if tie.swim == swim.key}
    row = _start_row(solved, swim.key)
    start_s = swim.tap_s + float(row @ solved.x)
    clocks = []
    for recording in solved.recordings.values():
        at_s = min(max(start_s - solved.zero_s(recording.key), 0.0), recording.duration_s)
        clocks.append(solved.clock_row(recording, at_s))
    u_s = _u_against_s(row, clocks, solved)
    if u_s >= tap.u_s:
        return tap
    return SwimFit(swim.key, start_s, u_s, "heard" if START_HEARD in kinds else "seen")


# --- from file dates only ----------------------------------------------------------------------


def fit_by_file_date(
    recording: RecordingIn,
    file_date_s: float | None,
    starts_s: Sequence[float],
    fitted_of_camera: Sequence[tuple[float, float]] = (),
) -> RecordingFit:
    """A coarse place for a recording without ties: the date in its file, within about 2 s.

    `fitted_of_camera` are (file date, fitted zero) of other recordings of the same camera:
    their difference says how wrong that camera's clock was set, and it is taken off. The date
    is believed only if the recording then has at least one start of the log in it; a clock set
    wrong by hours has none.
    """
    if file_date_s is None:
        return not_found(recording.key, "No tie, and its file has no date.")
    wrong_s = float(np.median([date - zero for date, zero in fitted_of_camera] or [0.0]))
    zero_s = file_date_s - wrong_s
    spare_s = FILE_DATE_U_MS / 1000
    inside = [
        start
        for start in starts_s
        if zero_s - spare_s <= start <= zero_s + recording.duration_s + spare_s
    ]
    if not inside:
        return not_found(
            recording.key,
            "By its file's date it has no start of the log in it: the camera's clock was set "
            "wrong, or it filmed something else. Place a tie.",
        )
    coarse = not_found(recording.key, "From the file's date alone, within some 2 s. Place a tie.")
    return replace(
        coarse,
        zero_s=zero_s,
        u_ms=FILE_DATE_U_MS,
        u_begin_ms=FILE_DATE_U_MS,
        u_mid_ms=FILE_DATE_U_MS,
        u_end_ms=FILE_DATE_U_MS,
        state=LOOK,
        method=FILE_DATE,
    )
