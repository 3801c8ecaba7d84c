"""The way of the body's centre over several frames of a view, as the page of a swim shows it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.formats import number_format
from django.utils.translation import gettext as _

from feedback.actions.body_told import Between, Way, ways_of
from feedback.compute.measuring.measure import Unit
from feedback.compute.measuring.picture_cautions import out_of_plane_share
from feedback.views.body_list import ShownBody
from feedback.views.measure_words import in_short, told

NEARER_M = 0.5  # of a body that is beside the plane: what that costs is told


@dataclass(frozen=True)
class WayRow:
    """Between two frames: when, how fast along the course, or why that cannot be told."""

    from_s: float | None
    to_s: float | None
    speed: str
    plain: str
    sense: str
    why_not: str
    caution: str


@dataclass(frozen=True)
class ShownWay:
    name: str
    by: str
    bodies: list[ShownBody]
    rows: list[WayRow]

    def for_script(self) -> dict[str, Any] | None:
        """Its places in parts of the picture; pieces that cannot be joined are apart."""
        seen = [one for one in self.bodies if one.view is not None]
        if len(seen) < 2 or seen[0].view is None:
            return None
        pieces: list[list[list[float]]] = [[]]
        before: ShownBody | None = None
        for one in seen:
            x, y = one.for_script()["centre"]
            if before is not None and before.body.same_parts != one.body.same_parts:
                pieces.append([])
            pieces[-1].append([one.frame or 0, x, y])
            before = one
        return {"view": seen[0].view.key, "pieces": pieces}


def ways_shown(shown: Sequence[ShownBody]) -> list[ShownWay]:
    """One query where a view has two frames with a centre, else none."""
    by_key = {one.row.pk: one for one in shown}
    return [_way(way, by_key) for way in ways_of(one.body for one in shown)]


def _way(way: Way, by_key: dict[Any, ShownBody]) -> ShownWay:
    bodies = [by_key[body.row.pk] for body in way.bodies]
    first = bodies[0]
    name = first.view.name if first.view else first.row.recording.station.name
    return ShownWay(name, first.by, bodies, [_between(one, by_key) for one in way.between])


def _between(one: Between, by_key: dict[Any, ShownBody]) -> WayRow:
    speed = one.step.along if one.step else None
    return WayRow(
        from_s=by_key[one.one.row.pk].at_s,
        to_s=by_key[one.other.row.pk].at_s,
        speed=told(speed, Unit.M_PER_S) if speed else "",
        plain=in_short(speed, Unit.M_PER_S) if speed else "",
        sense=_sense(speed.value) if speed else "",
        why_not=_WHY_NOT[one.why_not]() if one.why_not else "",
        caution=_caution(one),
    )


def _sense(along: float) -> str:
    return _("away from the start wall") if along > 0 else _("towards the start wall")


def _caution(one: Between) -> str:
    told_of = []
    if one.outside:
        told_of.append(_("A centre lies outside of the plane's marks, where metres are less sure."))
    if one.plane is not None and (one.plane.distance_m or 0) > NEARER_M:
        share = 100 * out_of_plane_share(NEARER_M, one.plane.distance_m or 0)
        told_of.append(
            _("A body 0.5 m nearer to the camera than the plane reads %(share)s %% too fast.")
            % {"share": number_format(round(share, 1), 1)}
        )
    return " ".join(told_of)


_WHY_NOT = {
    "parts": lambda: _(
        "Not joined: other parts of the body are set on these two frames, or another table is "
        "used. Set the same points on both."
    ),
    "plane": lambda: _(
        "No speed: this picture has no metres here. Set marks of known place in it first."
    ),
    "two-planes": lambda: _(
        "No speed: these frames lie in two planes. Set points on frames of one of them."
    ),
    "horizon": lambda: _(
        "No speed: the centre is not in the water by the plane of this picture. Look at its marks."
    ),
}
