"""`{% lane_strip lane "Label" %}` draws a lane strip with its text twin."""

from __future__ import annotations

from dataclasses import dataclass
from operator import attrgetter
from typing import Any

from django import template

from portal.compute.lane_strip import Drawing, Lane, clock, lay_out, time_of_day

register = template.Library()


@dataclass(frozen=True)
class Line:
    """A line of the text twin: what a strip shows, in words. `to_s` is None: an instant."""

    kind: str
    at_s: float
    to_s: float | None = None
    name: str = ""
    key: str = ""

    def at(self) -> str:
        return clock(self.at_s)

    def to(self) -> str:
        return clock(self.to_s or 0.0)

    def at_time(self) -> str:
        return time_of_day(self.at_s)

    def to_time(self) -> str:
        return time_of_day(self.to_s or 0.0)


@register.inclusion_tag("portal/lane_strip.html")
def lane_strip(lane: Lane, label: str, interactive: bool = False) -> dict[str, Any]:
    """`interactive`: a slider that sends `lane-strip:move` (lane-strip.js)."""
    drawing = lay_out(lane)
    return {
        "drawing": drawing,
        "lane": lane,
        "label": label,
        "interactive": interactive,
        "lines": text_twin(drawing),
    }


def text_twin(drawing: Drawing) -> list[Line]:
    """All that is drawn, in order of time."""
    lane = drawing.lane
    lines = [
        *(Line("wall", wall.at_s, name=wall.name) for wall in lane.walls),
        *(Line("phase", phase.from_s, phase.to_s, phase.name) for phase in lane.phases),
        *(Line("bar", bar.from_s, bar.to_s, bar.name) for bar in lane.bars),
        *(Line("pin", pin.at_s, name=pin.name, key=pin.key) for pin in lane.pins),
        *(Line("flag", flag.at_s, name=flag.name, key=flag.key) for flag in lane.flags),
        *(Line("start", start.at_s, name=start.name) for start in lane.starts),
        *(Line("tie-aside" if t.hollow else "tie", t.at_s, name=t.name) for t in lane.ties),
        *(Line("clip", clip.from_s, clip.to_s, clip.name) for clip in lane.clips),
        *(Line("join", join.at_s, name=join.name) for join in lane.joins),
        *(Line("dropped", span.from_s, span.to_s) for span in lane.dropped),
    ]
    if lane.leaves_s is not None:
        lines.append(Line("ladder", lane.leaves_s))
    return sorted(lines, key=attrgetter("at_s"))
