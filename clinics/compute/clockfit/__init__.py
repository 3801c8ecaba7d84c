"""Fits all clocks of a clinic together, from ties that people placed and that sound gave.

    zero_r + t * (1 + rate_c) = tap_i - lateness + scatter_i + travel   (a start)
    zero_r + t * (1 + rate_c) = instant                                 (a known instant, a slate)
    zero_r + t * (1 + rate_c) = zero_o + t_o * (1 + rate_co)            (the same moment)

t are seconds as they passed at the pool: media seconds over the factor of slow motion.

Taps scatter by 0.15 s, frames by 0.01 s, arrivals of sound by 0.001 s. So two recordings that
are tied to the same starts agree to a frame although each lies 0.1 s off the taps: hence one
joint weighted least squares, not one line per recording. Rates are drawn to zero as far as ties
cannot tell (camera clocks are off by up to about 100 ppm), so that one tie gives the offset with
rate 1 and says what that costs away from it.

An event placed on a frame stands at "first frame at or after": half a frame interval is taken
off. A heard start is later by the sound's travel.

Clinic time is fixed so that the scatters of the tied starts have mean zero; only a known
instant moves it. Positive residual: the tie's frame is later than the fit says.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence

from clinics.compute.clockfit.agree import RATE_LIMIT_PPM, against_persons, agreeing, off_by
from clinics.compute.clockfit.dates import FILE_DATE_U_MS, fit_by_file_date
from clinics.compute.clockfit.solve import Solved, solve_robustly, too_fast
from clinics.compute.clockfit.states import result
from clinics.compute.clockfit.types import (
    CORRELATION,
    FILE_DATE,
    INSTANT,
    LOOK,
    NOT_FOUND,
    NOTHING,
    PASSING,
    PERSON,
    SAME_MOMENT,
    SLATE_HEARD,
    SLATE_SEEN,
    SOUND,
    START_HEARD,
    START_SEEN,
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

__all__ = [
    "CORRELATION",
    "FILE_DATE",
    "FILE_DATE_U_MS",
    "INSTANT",
    "LOOK",
    "NOTHING",
    "NOT_FOUND",
    "PASSING",
    "PERSON",
    "RATE_LIMIT_PPM",
    "SAME_MOMENT",
    "SLATE_HEARD",
    "SLATE_SEEN",
    "SOUND",
    "STARTS",
    "START_HEARD",
    "START_SEEN",
    "SURE",
    "TIES",
    "Candidate",
    "ClinicFit",
    "Evidence",
    "RecordingFit",
    "RecordingIn",
    "SwimFit",
    "SwimIn",
    "TieFit",
    "TieIn",
    "fit_by_file_date",
    "fit_clinic",
    "not_found",
]


def fit_clinic(
    recordings: Sequence[RecordingIn],
    swims: Sequence[SwimIn],
    ties: Sequence[TieIn],
    *,
    evidence: Mapping[str, Evidence] | None = None,
) -> ClinicFit:
    """Fit every recording that has a tie. Recordings without one come back `not-found`.

    `evidence`: what the sound of a recording says of its place, if it was listened to.
    """
    swim_of = {swim.key: swim for swim in swims}
    aside: dict[str, str] = {}
    refused: dict[str, str] = {}
    kept = _believable(ties, swim_of, aside, refused)
    blur_s = {key: said.blur_s for key, said in (evidence or {}).items()}
    solved = solve_robustly(recordings, swim_of, kept, aside, blur_s)
    if solved is not None:
        refused.update(too_fast(solved))
        if any(tie.recording in refused for tie in solved.ties):
            aside |= {t.key: refused[t.recording] for t in kept if t.recording in refused}
            left = _without(solved, refused)
            solved = solve_robustly(recordings, swim_of, left, aside, blur_s)
    return result(recordings, swims, ties, solved, aside, refused, evidence or {})


def _believable(
    ties: Sequence[TieIn],
    swim_of: Mapping[str, SwimIn],
    aside: dict[str, str],
    refused: dict[str, str],
) -> list[TieIn]:
    """Per recording the ties that can be right together; what people placed counts more than
    what sound gave."""
    by_recording: dict[str, list[TieIn]] = defaultdict(list)
    for tie in ties:
        by_recording[tie.recording].append(tie)
    kept: list[TieIn] = []
    for key, its in by_recording.items():
        if why := against_persons(its, swim_of):
            aside.update({tie.key: why for tie in its if tie.found_by == SOUND})
            its = [tie for tie in its if tie.found_by != SOUND]
        free = [tie for tie in its if tie.found_by == SOUND or tie.other is not None]
        placed = [tie for tie in its if tie not in free]
        good, why = agreeing(placed, swim_of)
        if why and not free:
            refused[key] = why
        if why:
            aside.update({tie.key: why for tie in placed})
            good = []
        kept += free + good
        if not why:
            aside.update({tie.key: off_by(tie, good, swim_of) for tie in placed if tie not in good})
    return kept


def _without(solved: Solved, refused: Mapping[str, str]) -> list[TieIn]:
    return [tie for tie in solved.ties if tie.recording not in refused and tie.other not in refused]
