"""What a reading of the picture says, or why it could not tell."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from enum import StrEnum
from typing import Any

from feedback.compute.measuring.uncertain import Quantity, Shape, Source

SOURCE_KEY = "rate-from-picture"


class Sure(StrEnum):
    """How far a reading may be believed. Of drawn films (tests/feedback/rate_read) that no limit
    was set on, all 17 that were SURE were within 3 %, and all 36 of those that limits were set on.
    Of LOOK it was 15 of 19 and 35 of 39; breaststroke is the weakest."""

    SURE = "sure"
    LOOK = "look"
    NOT_FOUND = "not-found"


class Why(StrEnum):
    """Why it is not sure, or could not be told."""

    CLEAR = "clear"
    TOO_SHORT = "too-short"  # hardly any pictures
    TOO_FEW = "too-few"  # fewer than three cycles
    TWO_FIT = "two-fit"  # two rates fit alike
    NOT_FOLLOWED = "not-followed"  # something else moves as much
    NOTHING = "nothing"  # nothing comes again
    UNSTEADY = "unsteady"  # parts of it say otherwise
    FAINT = "faint"  # comes again, but not clearly
    FEW = "few"  # three cycles or hardly more
    TOO_QUICK = "too-quick"  # kicks, not strokes
    RARE = "rare"  # a rate that hardly anybody swims


@dataclass(frozen=True)
class Place:
    """Where the box's middle was, as parts of the picture."""

    at_s: float
    x: float
    y: float


@dataclass(frozen=True)
class Reading:
    """Rates in cycles a minute (freestyle and backstroke: both arms are one cycle), times in
    seconds as those of the pictures. `rate_per_min` and `u_per_min` (standard uncertainty) are
    None unless told; `others`: the rates that fit as well; `again`: how much alike the picture is
    one cycle on, 0 to 1. `box`: width and height of what was followed, `way`: where it was."""

    sure: Sure
    why: Why
    rate_per_min: float | None = None
    u_per_min: float | None = None
    cycles: float = 0.0
    from_s: float = 0.0
    to_s: float = 0.0
    again: float = 0.0
    others: tuple[float, ...] = ()
    box: tuple[float, float] = (0.0, 0.0)
    way: tuple[Place, ...] = ()

    @property
    def quantity(self) -> Quantity | None:
        if self.rate_per_min is None or self.u_per_min is None:
            return None
        return Quantity(self.rate_per_min, {Source(SOURCE_KEY, Shape.BELL, self.u_per_min): 1.0})

    def to_json(self) -> dict[str, Any]:
        return asdict(self)


def reading_of(stored: dict[str, Any]) -> Reading:
    """What `to_json` wrote, after its way through JSON.

    >>> one = Reading(Sure.LOOK, Why.FEW, 42.0, 0.5, 3.1, 1.0, 5.4, 0.5, (84.0,), (0.3, 0.2))
    >>> reading_of(one.to_json()) == one
    True
    """
    return Reading(
        **{
            **stored,
            "sure": Sure(stored["sure"]),
            "why": Why(stored["why"]),
            "others": tuple(stored["others"]),
            "box": tuple(stored["box"]),
            "way": tuple(Place(**place) for place in stored["way"]),
        }
    )
