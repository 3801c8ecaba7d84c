"""Where everything stands in a plot of residuals against time: the geometry, without drawing.

A panel is one camera position: how many milliseconds each tie's frame lies beside the fit
(positive: later than the fit says), and the band in which the fit says that it is right. Places
are shares in percent of the panel's width (from the left) and height (from the top), so that one
drawing fits a phone, a wide screen and paper without script.

>>> points = [Point(10.0, 2.0, "start-heard"), Point(20.0, 400.0, "start-seen", aside="wrong?")]
>>> panel = draw([Panel("Deck", points, [Band(0.0, 40.0, 4.0, 2.0, 4.0)])]).panels[0]
>>> panel.limit_ms, [(p.x, p.y, p.hollow, p.beyond) for p in panel.points]
(5.0, [(25.0, 30.0, False, False), (50.0, 0.0, True, True)])
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

LEAST_LIMIT_MS = 5.0
BAND_COUNTS_TO_MS = 50.0  # a wider band is cut at the edge, or points would lie on one line
SPARE = 1.1
STEPS_S = (1, 2, 5, 10, 20, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400)
MOST_STEPS = 8


@dataclass(frozen=True)
class Point:
    """A tie. `aside`: why it does not count, empty if it does."""

    at_s: float
    residual_ms: float
    kind: str
    aside: str = ""
    name: str = ""


@dataclass(frozen=True)
class Band:
    """How sure a recording's clock is at its begin, middle and end: ± ms, in clinic or media
    seconds as the points are."""

    from_s: float
    to_s: float
    begin_ms: float
    mid_ms: float
    end_ms: float


@dataclass(frozen=True)
class Panel:
    name: str
    points: Sequence[Point]
    bands: Sequence[Band]


@dataclass(frozen=True)
class Dot:
    """A tie drawn. `beyond`: it lies further off than the edge at which it stands."""

    x: float
    y: float
    hollow: bool
    beyond: bool
    point: Point


@dataclass(frozen=True)
class Drawn:
    """`band` is a path in a box of 100 by 100 that is stretched over the panel; `limit_ms` is
    its upper edge (and, negative, its lower)."""

    name: str
    limit_ms: float
    points: tuple[Dot, ...]
    band: str
    ends: tuple[float, ...]  # where a recording begins or ends


@dataclass(frozen=True)
class Step:
    x: float
    at_s: float


@dataclass(frozen=True)
class Plot:
    begin_s: float
    end_s: float
    panels: tuple[Drawn, ...]
    steps: tuple[Step, ...]


def draw(panels: Sequence[Panel]) -> Plot | None:
    """The plot over all that the panels hold, one time axis for all; None without any time."""
    times = [p.at_s for panel in panels for p in panel.points]
    times += [at for panel in panels for band in panel.bands for at in (band.from_s, band.to_s)]
    if not times:
        return None
    begin_s, end_s = min(times), max(times)
    if end_s - begin_s < 1.0:
        end_s = begin_s + 1.0
    drawn = tuple(_panel(panel, begin_s, end_s) for panel in panels)
    steps = tuple(Step(_x(at_s, begin_s, end_s), at_s) for at_s in steps_s(begin_s, end_s))
    return Plot(begin_s, end_s, drawn, steps)


def steps_s(begin_s: float, end_s: float) -> list[float]:
    """Round times from begin to end, few enough to read.

    >>> steps_s(95.0, 400.0)
    [120.0, 180.0, 240.0, 300.0, 360.0]
    """
    length_s = end_s - begin_s
    step = next((s for s in STEPS_S if length_s / s <= MOST_STEPS), None)
    step = step or STEPS_S[-1] * math.ceil(length_s / STEPS_S[-1] / MOST_STEPS)
    first, last = math.ceil(begin_s / step), math.floor(end_s / step)
    return [float(n * step) for n in range(first, last + 1)]


def limit_of(points: Sequence[Point], bands: Sequence[Band]) -> float:
    """The panel's edge in ms: a round number with every tie that counts well within it.

    >>> limit_of([Point(0, -61.0, "instant")], []), limit_of([], [Band(0, 9, 2000, 2000, 2000)])
    (100.0, 5000.0)
    """
    kept = [abs(point.residual_ms) for point in points if not point.aside]
    widest = max((max(b.begin_ms, b.mid_ms, b.end_ms) for b in bands), default=0.0)
    if kept:
        widest = max(min(widest, BAND_COUNTS_TO_MS), *kept)
    return max(LEAST_LIMIT_MS, round_up(SPARE * widest))


def round_up(value: float) -> float:
    """To 1, 2 or 5 times a power of ten.

    >>> round_up(5.0), round_up(5.1), round_up(130.0), round_up(0.0)
    (5.0, 10.0, 200.0, 0.0)
    """
    if value <= 0:
        return 0.0
    power = 10.0 ** math.floor(math.log10(value) + 1e-12)
    return next(n * power for n in (1, 2, 5, 10) if n * power >= value * (1 - 1e-12))


def _panel(panel: Panel, begin_s: float, end_s: float) -> Drawn:
    limit_ms = limit_of(panel.points, panel.bands)
    dots = [
        Dot(
            x=_x(point.at_s, begin_s, end_s),
            y=_y(point.residual_ms, limit_ms),
            hollow=bool(point.aside),
            beyond=abs(point.residual_ms) > limit_ms,
            point=point,
        )
        for point in sorted(panel.points, key=lambda point: point.at_s)
    ]
    ends = [_x(at, begin_s, end_s) for band in panel.bands for at in (band.from_s, band.to_s)]
    path = "".join(_band(band, begin_s, end_s, limit_ms) for band in panel.bands)
    return Drawn(panel.name, limit_ms, tuple(dots), path, tuple(ends))


def _band(band: Band, begin_s: float, end_s: float, limit_ms: float) -> str:
    corners = (
        (band.from_s, band.begin_ms),
        ((band.from_s + band.to_s) / 2, band.mid_ms),
        (band.to_s, band.end_ms),
    )
    above = [(_x(at, begin_s, end_s), _y(ms, limit_ms)) for at, ms in corners]
    below = [(_x(at, begin_s, end_s), _y(-ms, limit_ms)) for at, ms in reversed(corners)]
    return "M" + "L".join(f"{x:g} {y:g}" for x, y in (*above, *below)) + "Z"


def _x(at_s: float, begin_s: float, end_s: float) -> float:
    return round(min(100.0, max(0.0, 100.0 * (at_s - begin_s) / (end_s - begin_s))), 3)


def _y(ms: float, limit_ms: float) -> float:
    return round(min(100.0, max(0.0, 50.0 - 50.0 * ms / limit_ms)), 3)
