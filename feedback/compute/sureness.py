"""How sure a time on screen is, in words that need no ± sign.

A picture stands for a whole frame interval, so nothing is surer than one frame.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

FRAMES_WORTH_SAYING = 5


class Sureness(StrEnum):
    """How the uncertainty of a time is said."""

    FRAME = "frame"  # within a frame
    FRAMES = "frames"  # within `amount` frames
    SECONDS = "seconds"  # within `amount` seconds
    LOOK = "look"  # needs a look
    NOT_FOUND = "not-found"  # the clock is not known


@dataclass(frozen=True)
class HowSure:
    """`amount` is frames or seconds, by `kind`; 0 where it says nothing."""

    kind: Sureness
    amount: float = 0.0


def how_sure(*, state: str, u_ms: float | None, frame_ms: float) -> HowSure:
    """Words for a time of state `sure`, `look` or `not-found` and uncertainty `u_ms` (1 sigma).

    >>> how_sure(state="sure", u_ms=12.0, frame_ms=16.7).kind.value
    'frame'
    >>> how_sure(state="sure", u_ms=40.0, frame_ms=16.7).amount
    3.0
    >>> how_sure(state="sure", u_ms=412.0, frame_ms=16.7).amount
    0.5
    """
    if state == "not-found" or u_ms is None:
        return HowSure(Sureness.NOT_FOUND)
    if state != "sure":
        return HowSure(Sureness.LOOK)
    frames = math.ceil(u_ms / frame_ms - 1e-9)
    if frames <= 1:
        return HowSure(Sureness.FRAME, 1.0)
    if frames <= FRAMES_WORTH_SAYING:
        return HowSure(Sureness.FRAMES, float(frames))
    return HowSure(Sureness.SECONDS, math.ceil(u_ms / 100.0 - 1e-9) / 10.0)


def together_ms(*u_ms: float) -> float:
    """Independent uncertainties added (root of the sum of squares), in ms.

    >>> together_ms(3.0, 4.0)
    5.0
    """
    return math.hypot(*u_ms)
