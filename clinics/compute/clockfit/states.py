"""From the solution to what is said of each recording, tie and start."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from clinics.compute.clockfit.solve import OUTLIER_SIGMAS, Matrix, Solved
from clinics.compute.clockfit.types import (
    LOOK,
    NOT_FOUND,
    NOTHING,
    SOUND,
    START_HEARD,
    STARTS,
    SURE,
    TIES,
    Candidate,
    ClinicFit,
    Evidence,
    RecordingFit,
    RecordingIn,
    SwimFit,
    SwimIn,
    TieFit,
    TieIn,
    not_found,
)

SURE_P = 1e-4  # of a match by chance, at most
SURE_HEARD = 3  # starts that must meet


def result(
    recordings: Sequence[RecordingIn],
    swims: Sequence[SwimIn],
    ties: Sequence[TieIn],
    solved: Solved | None,
    aside: Mapping[str, str],
    refused: Mapping[str, str],
    evidence: Mapping[str, Evidence],
) -> ClinicFit:
    fits = {}
    for recording in recordings:
        said = evidence.get(recording.key)
        if solved is not None and recording.key in solved.recordings:
            fits[recording.key] = _found(recording, solved, said)
        else:
            fits[recording.key] = _not_found(recording, said, refused.get(recording.key, ""))
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


# --- recordings without a place ------------------------------------------------------------------


def _not_found(recording: RecordingIn, said: Evidence | None, refused: str) -> RecordingFit:
    if refused:
        fit = not_found(recording.key, refused)
    elif said is None:
        fit = not_found(recording.key, "No tie.")
    elif said.places:
        fit = not_found(
            recording.key,
            f"It fits at two places of the start log: {said.places[0][1]} and "
            f"{said.places[1][1]} starts meet there. Place a tie to say which.",
        )
    elif said.slow_motion:
        fit = not_found(
            recording.key,
            f"It would fit if it were slow motion, stretched {said.slow_motion:g} times. "
            "Say so if it is.",
        )
    else:
        fit = not_found(
            recording.key,
            "The start signal is not heard often enough in it to tell where it lies. Place a tie.",
        )
    if said is None:
        return fit
    return _with(fit, said)


def _with(fit: RecordingFit, said: Evidence) -> RecordingFit:
    candidates = [Candidate(zero_s, matched, said.of) for zero_s, matched in said.places]
    if said.slow_motion:
        candidates.append(Candidate(None, 0, said.of, said.slow_motion))
    return RecordingFit(
        **{**fit.__dict__, "false_match_p": said.p, "candidates": tuple(candidates)}
    )


# --- recordings with a place ---------------------------------------------------------------------


def _found(recording: RecordingIn, solved: Solved, said: Evidence | None) -> RecordingFit:
    its = [t for t in solved.ties if recording.key in (t.recording, t.other)]
    heard = [tie for tie in its if tie.found_by == SOUND and tie.kind == START_HEARD]
    places = (0.0, recording.duration_s / 2, recording.duration_s)
    u_ms = [1000 * _relative_u_s(recording, media_s, solved) for media_s in places]
    state, reason = _state(recording, its, heard, max(u_ms), solved, said)
    rate = (1 + solved.rate_ppm(recording.camera) * 1e-6) / recording.slow_motion
    return RecordingFit(
        key=recording.key,
        zero_s=solved.zero_s(recording.key),
        rate_ppm=(rate - 1) * 1e6,
        u_ms=max(u_ms),
        u_begin_ms=u_ms[0],
        u_mid_ms=u_ms[1],
        u_end_ms=u_ms[2],
        state=state,
        method=STARTS if len(heard) > len(its) - len(heard) else TIES,
        ties=len(its),
        reason=reason,
        false_match_p=said.p if said is not None and heard else None,
    )


def _relative_u_s(recording: RecordingIn, media_s: float, solved: Solved) -> float:
    """Uncertainty of this clock at that time against the other recordings' clocks at the same
    instant (or as near as they come); alone, against the tied starts."""
    own = solved.clock_row(recording, media_s)
    instant_s = solved.zero_s(recording.key) + media_s / recording.slow_motion
    others = []
    for other in solved.recordings.values():
        if other.key != recording.key:
            passed_s = instant_s - solved.zero_s(other.key)
            at_s = min(max(passed_s * other.slow_motion, 0.0), other.duration_s)
            others.append(solved.clock_row(other, at_s))
    if not others:
        others = [_start_row(solved, tie.swim) for tie in solved.ties if tie.swim is not None]
    return _u_against_s(own, others, solved)


def _u_against_s(own: Matrix, others: list[Matrix], solved: Solved) -> float:
    """Against the weighted mean of the others: one that is badly known counts for little."""
    if not others:
        return solved.u_s(own)
    weights = np.array([1 / (solved.u_s(own - other) ** 2 + 1e-12) for other in others])
    return solved.u_s(own - np.average(others, axis=0, weights=weights))


def _start_row(solved: Solved, swim: str) -> Matrix:
    return solved.row(**{f"start:{swim}": 1.0, "late:log": -1.0})


def _state(
    recording: RecordingIn,
    ties: list[TieIn],
    heard: list[TieIn],
    u_ms: float,
    solved: Solved,
    said: Evidence | None,
) -> tuple[str, str]:
    """`sure`: the starts that it hears meet those of the log as they would not by chance, or
    two ties or more that people placed agree within a frame; and everywhere within a frame of
    the other recordings. Else a person should look, and the reason says at what."""
    frame_ms = 1000 * recording.frame_s
    placed = [tie for tie in ties if tie not in heard]
    reason = _doubt_in_sound(heard, said) if heard else "no starts"
    if reason and len(placed) >= 2:
        reason = _doubt_in_ties(placed, frame_ms, solved)
    elif reason and not heard:
        reason = (
            f"One tie: the rate is taken as 1, which far from the tie is worth ± {u_ms:.0f} ms. "
            "Place a second tie, far from the first."
        )
    if reason:
        return LOOK, reason
    if u_ms > frame_ms:
        return LOOK, (
            f"± {u_ms:.0f} ms against the other recordings, more than a frame ({frame_ms:.0f} ms). "
            "Place ties on starts that other recordings are tied to, too."
        )
    return SURE, ""


def _doubt_in_sound(heard: list[TieIn], said: Evidence | None) -> str:
    if said is None or said.p is None or len(heard) < SURE_HEARD or said.p > SURE_P:
        return f"Only {len(heard)} starts are heard in it: look whether they are the right ones."
    if not said.logged:
        return (
            "Placed against the other recordings only: no start log says what time it was. "
            "Confirm the starts that were heard."
        )
    return ""


def _doubt_in_ties(ties: list[TieIn], frame_ms: float, solved: Solved) -> str:
    worst_ms = max(abs(1000 * solved.residual_s[tie.key]) for tie in ties)
    worst_sigmas = max(solved.sigmas[tie.key] for tie in ties)
    if worst_ms > frame_ms and worst_sigmas > OUTLIER_SIGMAS:
        return f"Its ties disagree by {worst_ms:.0f} ms, more than a frame."
    return ""


# --- starts ------------------------------------------------------------------------------------


def _start(
    swim: SwimIn, solved: Solved | None, late_s: float | None, late_u_s: float | None
) -> SwimFit:
    """The start as the ties have it, if that says more than the tap."""
    tap = SwimFit(
        swim.key, swim.tap_s - (late_s or 0.0), math.hypot(swim.u_s, late_u_s or 0.0), "tap"
    )
    if solved is None or ("start", swim.key) not in solved.at:
        return tap
    its = [tie for tie in solved.ties if tie.swim == swim.key]
    kinds = {tie.kind for tie in its}
    row = _start_row(solved, swim.key)
    start_s = swim.tap_s + float(row @ solved.x)
    recordings = {tie.recording for tie in its} or set(solved.recordings)
    clocks = []
    for key in recordings:
        recording = solved.recordings[key]
        passed_s = start_s - solved.zero_s(key)
        at_s = min(max(passed_s * recording.slow_motion, 0.0), recording.duration_s)
        clocks.append(solved.clock_row(recording, at_s))
    u_s = _u_against_s(row, clocks, solved)
    if u_s >= tap.u_s:
        return tap
    return SwimFit(swim.key, start_s, u_s, "heard" if START_HEARD in kinds else "seen")


__all__ = ["NOTHING", "NOT_FOUND", "result"]
