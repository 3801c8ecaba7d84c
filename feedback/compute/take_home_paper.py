"""A lane strip on paper: the same geometry as on screen (portal/compute/lane_strip.py), in points
of a drawing of fixed width, since what makes PDF knows neither percent nor the page's colours
within a drawing."""

from __future__ import annotations

from dataclasses import dataclass

from portal.compute.lane_strip import Drawing, Stretch


@dataclass(frozen=True)
class PaperSpan:
    """`y` of its top; `odd`: tinted the other way than its neighbour."""

    x: float
    width: float
    y: float = 0.0
    name: str = ""
    odd: bool = False


@dataclass(frozen=True)
class PaperStrip:
    """Places in the unit of `width`."""

    width: float
    walls: tuple[float, ...]
    phases: tuple[PaperSpan, ...]
    bars: tuple[PaperSpan, ...]
    flags: tuple[float, ...]
    ticks: tuple[tuple[float, float], ...]  # place, seconds
    ladder: float | None

    @property
    def whole(self) -> float:
        """With the margins at its ends."""
        return self.width + 2 * MARGIN


MARGIN = 14.0  # at either end, for what stands half outside the water
LOWEST_BAR_Y, ROW = 45.0, 5.0
LETTER = 4.6  # width of a letter of a phase's name


def on_paper(drawing: Drawing, width: float) -> PaperStrip:
    """
    >>> from portal.compute.lane_strip import Instant, Lane, lay_out
    >>> lane = Lane(begin_s=0.0, end_s=40.0, walls=(Instant(0.0), Instant(20.0)), leaves_s=40.0)
    >>> strip = on_paper(lay_out(lane), 600.0)
    >>> strip.walls, strip.ladder, strip.ticks[1]
    ((0.0, 300.0), 600.0, (75.0, 5.0))
    """

    def at(x: float) -> float:
        return round(x * width / 100.0, 2)

    def phase(n: int, one: Stretch) -> PaperSpan:
        wide = at(one.width)
        name = one.name if wide >= LETTER * (len(one.name) + 4) else ""
        return PaperSpan(at(one.x), wide, name=name, odd=bool(n % 2))

    return PaperStrip(
        width=width,
        walls=tuple(at(wall.x) for wall in drawing.walls),
        phases=tuple(phase(n, one) for n, one in enumerate(drawing.phases)),
        bars=tuple(
            PaperSpan(at(one.x), at(one.width), LOWEST_BAR_Y - ROW * one.row)
            for one in drawing.bars
        ),
        flags=tuple(at(flag.x) for flag in drawing.flags),
        ticks=tuple((at(tick.x), tick.at_s) for tick in drawing.ticks),
        ladder=None if drawing.ladder_x is None else at(drawing.ladder_x),
    )
