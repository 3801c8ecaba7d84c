"""Where a station's name goes: beside its mark, on no mark, no other label and within the drawing.

Places are tried in a fixed order, near ones first: right, left, below, above, then the corners;
farther out with a line back to the mark. A name that fits nowhere near gives way to the
station's number. How wide type runs is a guess, 0.7 of its size a letter, as in wide bold type:
the page's own font decides.
"""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from clinics.compute.plan_drawing.scale import rounded
from clinics.compute.plan_drawing.types import Label, Line, Rect

LETTER, WIDE_LETTER, TALL, BASELINE = 0.7, 1.05, 1.2, 0.9
NEAR_RINGS, RINGS = 3, 12  # how far out a name is tried, and a number
WAYS = ((1, 0), (-1, 0), (0, 1), (0, -1), (1, 1), (-1, 1), (1, -1), (-1, -1))


@dataclass
class Sheet:
    """What is taken already: `marks` as (x, y) of circles with `mark_r`, `boxes`."""

    width: float
    height: float
    font: float
    mark_r: float
    marks: Sequence[tuple[float, float]]
    boxes: list[Rect] = field(default_factory=list)

    def free(self, box: Rect) -> bool:
        within = box.x >= 0 and box.y >= 0
        within = within and box.right <= self.width and box.bottom <= self.height
        return (
            within
            and not any(touches(box, x, y, self.mark_r) for x, y in self.marks)
            and not any(overlap(box, other) for other in self.boxes)
        )


def touches(box: Rect, x: float, y: float, r: float) -> bool:
    """Whether a circle and a box share any ground."""
    near_x = min(max(x, box.x), box.right)
    near_y = min(max(y, box.y), box.bottom)
    return math.hypot(x - near_x, y - near_y) < r


def overlap(one: Rect, other: Rect) -> bool:
    return (
        one.x < other.right
        and other.x < one.right
        and one.y < other.bottom
        and other.y < one.bottom
    )


def text_width(text: str, font: float) -> float:
    wide = sum(unicodedata.east_asian_width(letter) in "WF" for letter in text)
    return font * (WIDE_LETTER * wide + LETTER * (len(text) - wide))


def place_label(sheet: Sheet, x: float, y: float, name: str, number: int) -> Label | None:
    """And takes the place; None if even the number finds none."""
    for text, rings in ((name, NEAR_RINGS), (str(number), RINGS)):
        for ring, box in _boxes(sheet, x, y, text, rings):
            if text and sheet.free(box):
                sheet.boxes.append(box)
                leader = _leader(sheet, x, y, box) if ring else None
                return Label(text, box.x, rounded(box.y + BASELINE * sheet.font), box, leader)
    return None


def _boxes(sheet: Sheet, x: float, y: float, text: str, rings: int) -> Iterator[tuple[int, Rect]]:
    """Beside the mark; above and below it a box slides along until it is within the drawing."""
    wide, tall = rounded(text_width(text, sheet.font)), rounded(TALL * sheet.font)
    for ring in range(rings):
        gap = sheet.mark_r + (0.3 + ring) * sheet.font
        for right, down in WAYS:
            off = gap * (0.75 if right and down else 1.0)
            left = x + right * (off + wide / 2) - wide / 2
            top = y + down * (off + tall / 2) - tall / 2
            if not right:
                left = max(min(left, sheet.width - wide), 0.0)
            yield ring, Rect(rounded(left), rounded(top), wide, tall)


def _leader(sheet: Sheet, x: float, y: float, box: Rect) -> Line:
    """From the mark's rim to the nearest place of the box."""
    end_x, end_y = min(max(x, box.x), box.right), min(max(y, box.y), box.bottom)
    share = sheet.mark_r / max(math.hypot(end_x - x, end_y - y), sheet.mark_r)
    from_x, from_y = x + share * (end_x - x), y + share * (end_y - y)
    return Line(rounded(from_x), rounded(from_y), rounded(end_x), rounded(end_y))
