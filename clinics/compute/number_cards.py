"""How large the numerals of number cards are, and how well the start camera reads them.

A card is held up to the start camera before each start; what counts is how many pixels high its
numerals are in that camera's picture. The least height of a digit that can still be told from
the others is taken as 8 lines of one field of an interlaced picture, one more than the 7 of the
usual dot matrix of 5 by 7; two fields make a picture, so 16 pixels of 1080. Cards are held
askew, wet and in motion: twice that is wished for. Both are choices of ours, no source.

Numerals are black on white in DejaVu Sans Bold: a digit is 0.729 of the type's size high and
0.696 wide (the font's own cap height and advance).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from clinics.compute.sight import field_width_m

DIGIT_HIGH, DIGIT_WIDE = 0.729, 0.696
PICTURE_PX = 1920  # across the whole picture, as the angle of view is
LEAST_PX, WISHED_PX = 16.0, 32.0
HELD_X_M, HELD_Z_M = 0.0, 1.2  # before the swimmer's chest at the start: our choice


@dataclass(frozen=True)
class Layout:
    """One page of cards, in mm: each card's own width and height, and the room of its numerals
    within them (under them is a bar, so that 6 and 9 are told apart, and the small print)."""

    key: str
    on_page: int
    wide_mm: float
    high_mm: float
    room_wide_mm: float
    room_high_mm: float

    @property
    def middle_mm(self) -> float:
        return self.wide_mm / 2

    @property
    def cut_mm(self) -> float:
        """Where the line to cut along lies in the upper card, just within its own edge."""
        return self.high_mm - 0.2

    @property
    def cut_label_mm(self) -> float:
        return self.high_mm - 2.0


ONE = Layout("one", 1, 297.0, 210.0, 271.0, 156.0)  # A4 landscape
TWO = Layout("two", 2, 210.0, 148.5, 186.0, 102.0)  # two A5 landscape on A4 portrait
LAYOUTS = {layout.key: layout for layout in (ONE, TWO)}


class Reads(StrEnum):
    WELL = "well"
    JUST = "just"
    NOT = "not"


@dataclass(frozen=True)
class Seen:
    """A set of cards before a camera: `numeral_mm` of its smallest numerals, which are `px`
    pixels high where the picture is `width_m` wide. `reads_to_m`: as far from this camera they
    are just read."""

    numeral_mm: float
    distance_m: float
    width_m: float
    px: float
    reads: Reads
    reads_to_m: float


def type_mm(number: int, layout: Layout) -> float:
    """The size of the type in which a number fills its card."""
    digits = len(str(number))
    return min(layout.room_wide_mm / (DIGIT_WIDE * digits), layout.room_high_mm / DIGIT_HIGH)


def numeral_mm(number: int, layout: Layout) -> float:
    """How high the numerals are.

    >>> [round(numeral_mm(number, ONE)) for number in (7, 40, 120)]
    [156, 142, 95]
    >>> [round(numeral_mm(number, TWO)) for number in (7, 40, 120)]
    [102, 97, 65]
    """
    return DIGIT_HIGH * type_mm(number, layout)


def card_distance_m(x_m: float, y_m: float, z_m: float, *, lane_y_m: float) -> float:
    """From a camera on the plan to a card at the start; at least half a metre, since nobody
    holds it into the lens."""
    return max(math.dist((x_m, y_m, z_m), (HELD_X_M, lane_y_m, HELD_Z_M)), 0.5)


def seen(numbers: Sequence[int], layout: Layout, *, distance_m: float, angle_deg: float) -> Seen:
    """The smallest numerals of these cards, as a camera with this angle of view has them.

    >>> near = seen([7, 40], TWO, distance_m=5.0, angle_deg=60.0)
    >>> round(near.px, 1), near.reads.value, round(near.reads_to_m, 1)
    (32.4, 'well', 10.1)
    >>> seen([120], TWO, distance_m=15.0, angle_deg=60.0).reads.value
    'not'
    """
    smallest_mm = min((numeral_mm(number, layout) for number in numbers), default=0.0)
    width_m = field_width_m(distance_m=distance_m, angle_deg=angle_deg)
    px = smallest_mm / 1000 * PICTURE_PX / width_m
    return Seen(smallest_mm, distance_m, width_m, px, _reads(px), distance_m * px / LEAST_PX)


def _reads(px: float) -> Reads:
    if px >= WISHED_PX:
        return Reads.WELL
    return Reads.JUST if px >= LEAST_PX else Reads.NOT


def proposed(numbers: Sequence[int], *, distance_m: float, angle_deg: float) -> Layout:
    """Two on a page if the camera reads them well, else one: half the paper, or what it takes.

    >>> proposed([40], distance_m=4.0, angle_deg=60.0).key
    'two'
    >>> proposed([40], distance_m=9.0, angle_deg=60.0).key
    'one'
    """
    two = seen(numbers, TWO, distance_m=distance_m, angle_deg=angle_deg)
    return TWO if two.reads is Reads.WELL else ONE
