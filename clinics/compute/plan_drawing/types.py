"""What a drawn pool plan consists of. All places and sizes are in the drawing's units, which are
metres from the view box's upper left corner (x to the right, y down), rounded to 0.01; fields
that end in _m are metres on the plan instead."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


@dataclass(frozen=True)
class Rect:
    x: float
    y: float
    width: float
    height: float

    @property
    def right(self) -> float:
        return round(self.x + self.width, 2)

    @property
    def bottom(self) -> float:
        return round(self.y + self.height, 2)


@dataclass(frozen=True)
class Line:
    x1: float
    y1: float
    x2: float
    y2: float


@dataclass(frozen=True)
class Sizes:
    """Lengths that look the same on every pool, for a drawing shown `width_px` wide.

    Strokes of 1 and 2.5 px; a mark's radius of 11 px and that of the circle that takes the
    finger, 24 px (48 px across); type of 14 and 12 px.
    """

    width_px: float
    thin: float
    thick: float
    mark_r: float
    touch_r: float
    font: float
    small_font: float


@dataclass(frozen=True)
class Lane:
    """`kept_clear`: not swum, and no rope that stays in lies between it and the swum lane.
    `label_fits`: small type is no taller than the lane is wide."""

    number: int
    rect: Rect
    swum: bool
    kept_clear: bool
    label_x: float
    label_y: float
    label_fits: bool


@dataclass(frozen=True)
class Rope:
    """Rope n lies between lanes n and n + 1; `out`: taken out for this clinic."""

    number: int
    line: Line
    out: bool


class AcrossKind(StrEnum):
    FLAGS = "flags"
    FIFTEEN = "fifteen"


@dataclass(frozen=True)
class Across:
    """A dashed line across the water, `at_m` along the course."""

    kind: AcrossKind
    at_m: float
    line: Line


@dataclass(frozen=True)
class Tick:
    """`last`: the far wall's, which says the course's length with its unit."""

    at_m: float
    x: float
    label_y: float
    last: bool


@dataclass(frozen=True)
class Label:
    """Text from `x` on with its baseline at `y`; `box` is the room it was given, by a guess at
    how wide type runs. `leader`: a line from the mark to a label that is not beside it."""

    text: str
    x: float
    y: float
    box: Rect
    leader: Line | None


@dataclass(frozen=True)
class Mark:
    """A station where it stands. `number_y`: baseline of the number within the mark. `cone`:
    what its camera sees, as `points` of a polygon; empty if it looks away. `seen`: the part of
    the swum lane in picture, None if nothing is. `label`: None if there is no room for one."""

    key: str
    kind: str
    number: int
    x: float
    y: float
    number_y: float
    cone: str
    seen: Rect | None
    label: Label | None


@dataclass(frozen=True)
class ClimbOut:
    """Where a go ends, at the swum lane's side; `room`: the deck to be left free."""

    x: float
    y: float
    at_m: float
    room: Rect


@dataclass(frozen=True)
class Arrow:
    """Which way the first length is swum. `head`: `points` of a triangle."""

    shaft: Line
    head: str


@dataclass(frozen=True)
class PlanDrawing:
    """`left`, `top`: where the plan's x = 0, y = 0 lies. The blocks stand at `start_wall`."""

    width: float
    height: float
    left: float
    top: float
    sizes: Sizes
    deck: Rect
    water: Rect
    start_wall: Line
    far_wall: Line
    blocks: tuple[Rect, ...]
    lanes: tuple[Lane, ...]
    ropes: tuple[Rope, ...]
    across: tuple[Across, ...]
    ticks: tuple[Tick, ...]
    starter: Rect
    climb_out: ClimbOut
    arrow: Arrow
    marks: tuple[Mark, ...]

    @property
    def view_box(self) -> str:
        return f"0 0 {self.width:.2f} {self.height:.2f}"

    @property
    def swum(self) -> Lane:
        return self.lanes[0]
