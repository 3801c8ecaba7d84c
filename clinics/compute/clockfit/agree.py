"""Which of the ties that people placed on one recording can be right together."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from clinics.compute.clockfit.types import SOUND, SwimIn, TieIn

RATE_LIMIT_PPM = 150.0
AGREE_SIGMAS = 5.0
PERSON_MISTAKE_MS = 80.0  # sound that is further from a person's ties than this is another sound


def _implied_zero_s(tie: TieIn, swim_of: Mapping[str, SwimIn]) -> float:
    """Where the recording's zero would lie by this tie alone, with rate 1."""
    return told_s(tie, swim_of) - tie.event_s


def told_s(tie: TieIn, swim_of: Mapping[str, SwimIn]) -> float:
    if tie.swim is not None:
        return swim_of[tie.swim].tap_s + tie.travel_s
    assert tie.instant_s is not None
    return tie.instant_s + tie.travel_s


def against_persons(ties: list[TieIn], swim_of: Mapping[str, SwimIn]) -> str:
    """Why this recording's sound ties cannot be right if those are that people placed; or "".

    Both name starts of the same log, so their zeros are compared start by start where both
    have one, else as a whole, within what taps scatter.
    """
    placed = [tie for tie in ties if tie.found_by != SOUND and tie.swim is not None]
    heard = {tie.swim: tie for tie in ties if tie.found_by == SOUND}
    if not placed or not heard:
        return ""
    same = [
        (_implied_zero_s(tie, swim_of), _implied_zero_s(heard[tie.swim], swim_of), tie.u_s)
        for tie in placed
        if tie.swim in heard
    ]
    if same:
        off_s = float(np.median([by_hand - by_sound for by_hand, by_sound, _u in same]))
        limit_s = PERSON_MISTAKE_MS / 1000 + AGREE_SIGMAS * max(u for _h, _s, u in same)
    else:
        by_hand = float(np.median([_implied_zero_s(tie, swim_of) for tie in placed]))
        by_sound = float(np.median([_implied_zero_s(tie, swim_of) for tie in heard.values()]))
        off_s = by_hand - by_sound
        limit_s = AGREE_SIGMAS * max(_tie_u_s(tie, swim_of) for tie in placed)
    if abs(off_s) <= limit_s:
        return ""
    return f"{-off_s:+.2f} s from what people placed, which counts more."


def _tie_u_s(tie: TieIn, swim_of: Mapping[str, SwimIn]) -> float:
    return math.hypot(tie.u_s, swim_of[tie.swim].u_s if tie.swim is not None else 0.0)


def _agree(one: TieIn, other: TieIn, swim_of: Mapping[str, SwimIn]) -> bool:
    """Whether two ties can both be right: within their scatter and a believable rate."""
    apart_s = abs(_implied_zero_s(one, swim_of) - _implied_zero_s(other, swim_of))
    scatter_s = AGREE_SIGMAS * math.hypot(_tie_u_s(one, swim_of), _tie_u_s(other, swim_of))
    return apart_s <= scatter_s + RATE_LIMIT_PPM * 1e-6 * abs(one.event_s - other.event_s)


def agreeing(ties: list[TieIn], swim_of: Mapping[str, SwimIn]) -> tuple[list[TieIn], str]:
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
    told = [told_s(tie, swim_of) for tie in ties]
    sentence = f"The ties disagree by {spread_s:.1f} s: one has the wrong swimmer or frame."
    if span_s > 0:
        rate_ppm = ((max(told) - min(told)) / span_s - 1) * 1e6
        sentence += (
            f" Were all right, the clock would be {rate_ppm:+.0f} ppm off, and no camera is off "
            f"by more than {RATE_LIMIT_PPM:.0f}; slow motion needs its factor first."
        )
    return sentence


def off_by(tie: TieIn, agreeing: list[TieIn], swim_of: Mapping[str, SwimIn]) -> str:
    others = [t for t in agreeing if (t.swim is None) == (tie.swim is None)] or agreeing
    zeros = [_implied_zero_s(other, swim_of) for other in others]
    off_s = float(np.median(zeros)) - _implied_zero_s(tie, swim_of)
    return f"{off_s:+.1f} s from what the other ties say: wrong swimmer or frame?"
