"""Where the lanes of the check board's strip are drawn: one lane of water per station.

Times are seconds from any common instant. Lengths are units of the drawing (its viewBox).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

WIDTH = 1150.0
LEFT, RIGHT = 150.0, 14.0  # the station's name stands in the left margin
LANE = 24.0  # from rope to rope
GAP = 11.0
TOP = 10.0
BELOW = 24.0  # for the times under the last lane
WALL, OVER = 3.0, 3.0  # how wide a wall is, and how far it stands out over the ropes
STEPS_S = (10, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400)
MOST_STEPS = 12


@dataclass(frozen=True)
class Lane:
    """One station: what its cameras recorded, when clips were cut from that, the ties of its
    clocks, and what is left out of it."""

    name: str
    recorded_s: Sequence[tuple[float, float]]
    clips_s: Sequence[tuple[float, float]]
    ties_s: Sequence[float] = ()
    dropped_s: Sequence[tuple[float, float]] = ()


@dataclass(frozen=True)
class DrawnLane:
    name: str
    top: float
    bottom: float
    middle: float
    water: str  # path of the recorded spans
    windows: str  # path of the clips
    flags: str  # path of a flag at each tie
    walls: str  # path of a wall at each start while a camera of the station ran
    dropped: str  # path of what is left out
    ropes: str


@dataclass(frozen=True)
class Step:
    x: float
    at_s: float


@dataclass(frozen=True)
class Overview:
    width: float
    height: float
    labels_y: float
    lanes: tuple[DrawnLane, ...]
    steps: tuple[Step, ...]
    first_s: float
    per_s: float  # units of the drawing for a second

    def x_at(self, at_s: float) -> float:
        """Where an instant stands; beyond the ends at the end."""
        return round(min(max(_x(at_s, self.first_s, self.per_s), LEFT), WIDTH - RIGHT), 1)


def draw(lanes: Sequence[Lane], starts_s: Sequence[float] = ()) -> Overview | None:
    """The drawing, or None when nothing was recorded.

    >>> drawing = draw([Lane("Deck", [(0.0, 100.0)], [(10.0, 20.0)])])
    >>> drawing.height, len(drawing.lanes), drawing.steps[1].at_s, drawing.x_at(-5.0)
    (58.0, 1, 10.0, 150.0)
    """
    spans = [span for lane in lanes for span in (*lane.recorded_s, *lane.clips_s)]
    if not spans:
        return None
    first, last = min(begin for begin, _ in spans), max(end for _, end in spans)
    per_s = (WIDTH - LEFT - RIGHT) / max(last - first, 1.0)

    def x(at_s: float) -> float:
        return _x(at_s, first, per_s)

    drawn = tuple(_lane(lane, TOP + i * (LANE + GAP), x, starts_s) for i, lane in enumerate(lanes))
    bottom = drawn[-1].bottom
    steps = tuple(Step(round(x(at_s), 1), at_s) for at_s in _steps(first, last))
    return Overview(WIDTH, bottom + BELOW, bottom + 20, drawn, steps, first, per_s)


def _x(at_s: float, first_s: float, per_s: float) -> float:
    return LEFT + (at_s - first_s) * per_s


def _steps(first: float, last: float) -> list[float]:
    """Round times within the span, few enough to read."""
    step = next((s for s in STEPS_S if (last - first) / s <= MOST_STEPS), STEPS_S[-1])
    begin = -(-first // step)
    return [float(begin + i) * step for i in range(int(last // step - begin) + 1)]


def _lane(
    lane: Lane, top: float, at: Callable[[float], float], starts_s: Sequence[float]
) -> DrawnLane:
    bottom = top + LANE
    spans = [_ends(span, at) for span in lane.recorded_s]
    heard = [s for s in starts_s if any(a <= s <= b for a, b in lane.recorded_s)]
    return DrawnLane(
        name=lane.name,
        top=top,
        bottom=bottom,
        middle=top + LANE / 2 + 4,
        water="".join(_box(a, b, top) for a, b in spans),
        windows="".join(_box(*_ends(span, at), top) for span in lane.clips_s),
        flags="".join(f"M{at(s):.1f} {bottom:g}V{top + 4:g}l9 4-9 4" for s in lane.ties_s),
        walls="".join(_wall(at(s), top) for s in heard),
        dropped="".join(_box(*_ends(span, at), top) for span in lane.dropped_s),
        ropes="".join(f"M{a:.1f} {y:g}H{b:.1f}" for a, b in spans for y in (top, bottom)),
    )


def _ends(span: tuple[float, float], at: Callable[[float], float]) -> tuple[float, float]:
    begin, end = at(span[0]), at(span[1])
    return begin, max(end, begin + 1.0)


def _box(begin: float, end: float, top: float) -> str:
    return f"M{begin:.1f} {top:g}H{end:.1f}v{LANE:g}H{begin:.1f}z"


def _wall(x: float, top: float) -> str:
    return f"M{x - WALL / 2:.1f} {top - OVER:g}h{WALL:g}v{LANE + 2 * OVER:g}h-{WALL:g}z"
