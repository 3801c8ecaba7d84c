"""Where the lanes of the check board's strip are drawn: one lane of water per station.

Times are seconds from any common instant. Lengths are units of the drawing (its viewBox).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

WIDTH = 1150.0
LEFT, RIGHT = 150.0, 14.0  # the station's name stands in the left margin
LANE = 30.0  # from rope to rope
GAP = 10.0
TOP = 8.0
BELOW = 24.0  # for the times under the last lane
STEPS_S = (10, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400)
MOST_STEPS = 12


@dataclass(frozen=True)
class Lane:
    """One station: what its cameras recorded, and when clips were cut from that."""

    name: str
    recorded_s: Sequence[tuple[float, float]]
    clips_s: Sequence[tuple[float, float]]


@dataclass(frozen=True)
class DrawnLane:
    name: str
    top: float
    bottom: float
    middle: float
    water: str  # path of the recorded spans
    windows: str  # path of the clips
    flags: str  # path of a flag where each clip begins
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


def draw(lanes: Sequence[Lane]) -> Overview | None:
    """The drawing, or None when nothing was recorded.

    >>> drawing = draw([Lane("Deck", [(0.0, 100.0)], [(10.0, 20.0)])])
    >>> drawing.height, len(drawing.lanes), drawing.steps[1].at_s
    (62.0, 1, 10.0)
    """
    spans = [span for lane in lanes for span in (*lane.recorded_s, *lane.clips_s)]
    if not spans:
        return None
    first, last = min(begin for begin, _ in spans), max(end for _, end in spans)
    scale = (WIDTH - LEFT - RIGHT) / max(last - first, 1.0)

    def x(at_s: float) -> float:
        return LEFT + (at_s - first) * scale

    drawn = tuple(_lane(lane, TOP + i * (LANE + GAP), x) for i, lane in enumerate(lanes))
    bottom = drawn[-1].bottom
    steps = tuple(Step(round(x(at_s), 1), at_s) for at_s in _steps(first, last))
    return Overview(WIDTH, bottom + BELOW, bottom + 18, drawn, steps)


def _steps(first: float, last: float) -> list[float]:
    """Round times within the span, few enough to read."""
    step = next((s for s in STEPS_S if (last - first) / s <= MOST_STEPS), STEPS_S[-1])
    begin = -(-first // step)
    return [float(begin + i) * step for i in range(int(last // step - begin) + 1)]


def _lane(lane: Lane, top: float, at: Callable[[float], float]) -> DrawnLane:
    bottom = top + LANE
    spans = [(at(begin), max(at(end), at(begin) + 1.0)) for begin, end in lane.recorded_s]
    clips = [(at(begin), max(at(end), at(begin) + 1.0)) for begin, end in lane.clips_s]
    return DrawnLane(
        name=lane.name,
        top=top,
        bottom=bottom,
        middle=top + LANE / 2 + 4,
        water="".join(_box(a, b, top) for a, b in spans),
        windows="".join(_box(a, b, top) for a, b in clips),
        flags="".join(f"M{a:.1f} {bottom:g}V{top + 4:g}l9 4-9 4" for a, _ in clips),
        ropes="".join(f"M{a:.1f} {y:g}H{b:.1f}" for a, b in spans for y in (top, bottom)),
    )


def _box(begin: float, end: float, top: float) -> str:
    return f"M{begin:.1f} {top:g}H{end:.1f}v{LANE:g}H{begin:.1f}z"
