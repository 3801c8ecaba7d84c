"""What is swum, and how its marks are laid out: the course, its lengths and walls."""

from __future__ import annotations

import math
from dataclasses import dataclass

from clinics.compute.errors import Said
from feedback.compute.measuring.events import Seen

NEAR_M = 0.01


@dataclass(frozen=True)
class Course:
    """`stroke` and `start` as an Entry has them. `strokes`: of each length, for a medley. The
    last length may be shorter than the course."""

    course_m: float
    distance_m: float
    stroke: str
    start: str
    strokes: tuple[str, ...] = ()

    @property
    def walls(self) -> int:
        """How many walls are reached; a go that ends at a wall ends there.

        >>> Course(25.0, 75.0, "freestyle", "block").walls
        3
        """
        return int((self.distance_m + NEAR_M) // self.course_m)

    @property
    def lengths(self) -> int:
        """
        >>> Course(50.0, 75.0, "freestyle", "block").lengths
        2
        """
        return max(1, math.ceil(self.distance_m / self.course_m - NEAR_M))

    def stroke_of(self, number: int) -> str:
        """Of a length, from 1 on."""
        return self.strokes[number - 1] if 0 < number <= len(self.strokes) else self.stroke


@dataclass(frozen=True)
class Wall:
    """The end of length `number`. An open turn has both touches, a tumble turn only the feet."""

    number: int
    hands_touch: Seen | None = None
    feet_touch: Seen | None = None
    feet_leave: Seen | None = None

    @property
    def touch(self) -> Seen | None:
        """The first touch: what a split is taken at."""
        return self.hands_touch or self.feet_touch


@dataclass(frozen=True)
class Length:
    """From one wall to the next. `hands`: hand entries, or body cycles in breaststroke and
    butterfly. `heads`: head at a distance, in order of time."""

    number: int
    breakout: Seen | None
    hands: tuple[Seen, ...]
    heads: tuple[Seen, ...]
    wall: Wall | None


@dataclass(frozen=True)
class Wrong:
    """Marks that do not go together, by their keys, and the sentence that says so."""

    marks: tuple[str, ...]
    says: Said
