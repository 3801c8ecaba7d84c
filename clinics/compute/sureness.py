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


def within(*, u_ms: float | None, frame_ms: float | None) -> HowSure:
    """How far off a time of uncertainty `u_ms` (1 sigma) may be, whatever its state.

    Without an uncertainty, or without the length of a frame to compare it with, nothing is
    known.

    >>> within(u_ms=12.0, frame_ms=40.0).kind.value
    'frame'
    >>> within(u_ms=40.1, frame_ms=40.0)
    HowSure(kind=<Sureness.FRAMES: 'frames'>, amount=2.0)
    >>> within(u_ms=412.0, frame_ms=16.7)
    HowSure(kind=<Sureness.SECONDS: 'seconds'>, amount=0.5)
    >>> within(u_ms=None, frame_ms=40.0).kind.value
    'not-found'
    """
    if u_ms is None or not frame_ms:
        return HowSure(Sureness.NOT_FOUND)
    frames = math.ceil(u_ms / frame_ms - 1e-9)
    if frames <= 1:
        return HowSure(Sureness.FRAME, 1.0)
    if frames <= FRAMES_WORTH_SAYING:
        return HowSure(Sureness.FRAMES, float(frames))
    return HowSure(Sureness.SECONDS, math.ceil(u_ms / 100.0 - 1e-9) / 10.0)


def how_sure(*, state: str, u_ms: float | None, frame_ms: float | None) -> HowSure:
    """The same for a time of state `sure`, `look` or `not-found`: only what is sure is said
    by how far off it may be.

    >>> how_sure(state="sure", u_ms=12.0, frame_ms=16.7).kind.value
    'frame'
    >>> how_sure(state="look", u_ms=12.0, frame_ms=16.7).kind.value
    'look'
    >>> how_sure(state="not-found", u_ms=12.0, frame_ms=16.7).kind.value
    'not-found'
    """
    if state == "not-found" or u_ms is None:
        return HowSure(Sureness.NOT_FOUND)
    return within(u_ms=u_ms, frame_ms=frame_ms) if state == "sure" else HowSure(Sureness.LOOK)


def together_ms(*u_ms: float) -> float:
    """Independent uncertainties added (root of the sum of squares), in ms.

    >>> together_ms(3.0, 4.0)
    5.0
    """
    return math.hypot(*u_ms)
