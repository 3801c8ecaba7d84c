"""Where everything on a lane strip stands: the geometry, without drawing.

The strip shows time as a lane of water seen from above. All positions are shares of its
length in percent, so that one drawing fits a phone, a wide screen and paper without script.

>>> lane = Lane(begin_s=0.0, end_s=40.0, walls=(Instant(0.0), Instant(20.0)), leaves_s=40.0)
>>> drawing = lay_out(lane)
>>> [wall.x for wall in drawing.walls], drawing.ladder_x
([0.0, 50.0], 100.0)
"""

from __future__ import annotations

import math
from dataclasses import dataclass

ROWS_OF_BARS = 4
TICK_STEPS_S = (0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 30.0, 60.0, 120.0, 300.0, 600.0)
TICKS_AT_MOST = 10
LETTER_SHARE = 0.9  # percent of the strip that a letter of a phase's name takes on a wide screen
# Small shapes around a point, as SVG paths in px: what is told apart by its kind. Shared with
# other drawings that show the same things.
SHAPES = {
    "round": "M-5 0a5 5 0 1 0 10 0a5 5 0 1 0-10 0Z",
    "square": "M-4.5-4.5H4.5V4.5H-4.5Z",
    "diamond": "M0-6.5L6.5 0L0 6.5L-6.5 0Z",
    "up": "M0-6L6 5H-6Z",
    "down": "M0 6L6-5H-6Z",
    "plus": "M-2-6H2V-2H6V2H2V6H-2V2H-6V-2H-2Z",
    "bar": "M-2.5-6.5H2.5V6.5H-2.5Z",
}


@dataclass(frozen=True)
class Instant:
    """Something at one instant: a wall, a pin, a flag, a tie. `key` names it for scripts;
    `shape` is one of SHAPES, `hollow`: it is shown, but does not count."""

    at_s: float
    name: str = ""
    key: str = ""
    shape: str = ""
    hollow: bool = False


@dataclass(frozen=True)
class Span:
    """Something from one instant to another: a station's view, a phase."""

    from_s: float
    to_s: float
    name: str = ""
    key: str = ""


@dataclass(frozen=True)
class Lane:
    """What a strip tells, in seconds of one clock (swim_s for a swim, media_s for a recording).

    `begin_s` < `end_s` are the ends of the strip. `leaves_s`: when the swimmer leaves the
    pool, None: not known. `now_s`: the present instant, None: none is shown. Of a recording:
    `starts` of swims in it, `ties`, `clips` cut from it, `joins` of its files, and what is
    `dropped`; `as_clock`: its scale says minutes and seconds. Of a pool hour: `of_day`, seconds
    count from midnight and its scale says the time of day; `leaves_s` is when the pool time ends.
    """

    begin_s: float
    end_s: float
    walls: tuple[Instant, ...] = ()
    phases: tuple[Span, ...] = ()
    bars: tuple[Span, ...] = ()
    pins: tuple[Instant, ...] = ()
    flags: tuple[Instant, ...] = ()
    leaves_s: float | None = None
    now_s: float | None = None
    starts: tuple[Instant, ...] = ()
    ties: tuple[Instant, ...] = ()
    clips: tuple[Span, ...] = ()
    joins: tuple[Instant, ...] = ()
    dropped: tuple[Span, ...] = ()
    as_clock: bool = False
    of_day: bool = False


@dataclass(frozen=True)
class Mark:
    """An instant with its place along the strip, in percent; `path` draws its shape."""

    x: float
    at_s: float
    name: str
    key: str
    path: str = ""
    hollow: bool = False


@dataclass(frozen=True)
class Stretch:
    """A span with its place, in percent. `row` counts from 0, upwards from the near rope."""

    x: float
    width: float
    row: int
    from_s: float
    to_s: float
    name: str
    key: str
    name_fits: bool


@dataclass(frozen=True)
class Tick:
    """A label of the scale. Minor ones are left out where there is little room."""

    x: float
    at_s: float
    minor: bool

    def clock(self) -> str:
        return clock(self.at_s)

    def time_of_day(self) -> str:
        return time_of_day(self.at_s)


@dataclass(frozen=True)
class Drawing:
    """A lane laid out; every x and width is in percent of the strip's length."""

    lane: Lane
    walls: tuple[Mark, ...]
    phases: tuple[Stretch, ...]
    bars: tuple[Stretch, ...]
    pins: tuple[Mark, ...]
    flags: tuple[Mark, ...]
    ticks: tuple[Tick, ...]
    ladder_x: float | None
    cap_x: float | None
    starts: tuple[Mark, ...]
    ties: tuple[Mark, ...]
    clips: tuple[Stretch, ...]
    joins: tuple[Mark, ...]
    dropped: tuple[Stretch, ...]


def share(lane: Lane, at_s: float) -> float:
    """Place of an instant in percent, 0 to 100; what lies beyond an end stands at that end.

    >>> share(Lane(begin_s=-2.0, end_s=8.0), 3.0), share(Lane(begin_s=0.0, end_s=8.0), 9.0)
    (50.0, 100.0)
    """
    x = 100.0 * (at_s - lane.begin_s) / (lane.end_s - lane.begin_s)
    return round(min(100.0, max(0.0, x)), 3)


def lay_out(lane: Lane) -> Drawing:
    """Place everything. Raises ValueError if the lane has no length or an end is not finite."""
    if not (math.isfinite(lane.begin_s) and math.isfinite(lane.end_s)):
        raise ValueError("a lane strip needs two finite ends")
    if lane.begin_s >= lane.end_s:
        raise ValueError(f"a lane strip cannot run from {lane.begin_s} s to {lane.end_s} s")
    return Drawing(
        lane=lane,
        walls=_marks(lane, lane.walls),
        phases=_stretches(lane, lane.phases),
        bars=_stretches(lane, lane.bars),
        pins=_marks(lane, lane.pins),
        flags=_marks(lane, lane.flags),
        ticks=_ticks(lane),
        ladder_x=None if lane.leaves_s is None else share(lane, lane.leaves_s),
        cap_x=None if lane.now_s is None else share(lane, lane.now_s),
        starts=_marks(lane, lane.starts),
        ties=_marks(lane, lane.ties),
        clips=_stretches(lane, lane.clips),
        joins=_marks(lane, lane.joins),
        dropped=_stretches(lane, lane.dropped),
    )


def _marks(lane: Lane, instants: tuple[Instant, ...]) -> tuple[Mark, ...]:
    ordered = sorted(instants, key=lambda instant: instant.at_s)
    return tuple(
        Mark(share(lane, i.at_s), i.at_s, i.name, i.key, SHAPES.get(i.shape, ""), i.hollow)
        for i in ordered
    )


def _stretches(lane: Lane, spans: tuple[Span, ...]) -> tuple[Stretch, ...]:
    ordered = sorted(spans, key=lambda span: (span.from_s, span.to_s))
    placed = []
    for span, row in zip(ordered, rows_without_overlap(ordered), strict=True):
        x = share(lane, span.from_s)
        width = round(share(lane, span.to_s) - x, 3)
        fits = width >= LETTER_SHARE * (len(span.name) + 2)
        placed.append(
            Stretch(x, width, row, span.from_s, span.to_s, span.name, span.key, bool(fits))
        )
    return tuple(placed)


def rows_without_overlap(spans: list[Span]) -> list[int]:
    """A row for each span (in order of `from_s`): the lowest that is free, at most four rows.

    >>> rows_without_overlap([Span(0, 6), Span(2, 4), Span(5, 9), Span(6, 7)])
    [0, 1, 1, 0]
    """
    busy_until = [-math.inf] * ROWS_OF_BARS
    rows = []
    for span in spans:
        free = [row for row, until in enumerate(busy_until) if until <= span.from_s]
        row = free[0] if free else busy_until.index(min(busy_until))
        busy_until[row] = max(busy_until[row], span.to_s)
        rows.append(row)
    return rows


def _ticks(lane: Lane) -> tuple[Tick, ...]:
    finest_s = 60.0 if lane.of_day else 1.0 if lane.as_clock else 0.0  # no label stands twice
    step_s = tick_step_s(lane.end_s - lane.begin_s, finest_s)
    first, last = math.ceil(lane.begin_s / step_s), math.floor(lane.end_s / step_s)
    return tuple(
        Tick(share(lane, n * step_s), n * step_s, bool(n % 2)) for n in range(first, last + 1)
    )


def tick_step_s(length_s: float, finest_s: float = 0.0) -> float:
    """The finest step of the scale, of `finest_s` at least, that gives at most ten labels.

    >>> tick_step_s(44.0), tick_step_s(5.0), tick_step_s(3600.0), tick_step_s(1.1, 1.0)
    (5.0, 0.5, 600.0, 1.0)
    """
    for step_s in TICK_STEPS_S:
        if step_s >= finest_s and length_s / step_s <= TICKS_AT_MOST:
            return step_s
    return TICK_STEPS_S[-1] * math.ceil(length_s / TICK_STEPS_S[-1] / TICKS_AT_MOST)


def clock(at_s: float) -> str:
    """Minutes and seconds, with hours where there are any; whole seconds.

    >>> clock(75.2), clock(3725.0), clock(-5.0)
    ('1:15', '1:02:05', '-0:05')
    """
    sign, whole = ("-" if at_s < 0 else ""), round(abs(at_s))
    hours, rest = divmod(whole, 3600)
    minutes, seconds = divmod(rest, 60)
    of_hours = f"{hours}:{minutes:02d}" if hours else f"{minutes}"
    return f"{sign}{of_hours}:{seconds:02d}"


def time_of_day(at_s: float) -> str:
    """Hours and minutes of seconds since midnight, whole minutes; goes on after the next one.

    >>> time_of_day(37_800.0), time_of_day(86_459.9)
    ('10:30', '00:00')
    """
    minutes = int(at_s // 60)
    return f"{minutes // 60 % 24:02d}:{minutes % 60:02d}"
