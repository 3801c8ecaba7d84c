"""The way of the body's centre over several frames of a view, as the page of a swim shows it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from feedback.actions.body_told import Between, Way, ways_of
from feedback.compute.measuring.measure import Unit
from feedback.compute.measuring.notation import Claim, claim
from feedback.compute.measuring.uncertain import Quantity
from feedback.models import PicturePlane
from feedback.views.body_list import ShownBody
from feedback.views.measure_words import in_short, told
from feedback.views.planes_words import caution_words


@dataclass(frozen=True)
class Speed:
    """`figure` with its ±, `plain` for swimmers, `sense` in words; "" where that is not clear."""

    figure: str
    plain: str
    sense: str


@dataclass(frozen=True)
class WayRow:
    """Between two frames: when, how fast along the course and up or down, or why that cannot be
    told. `upward` only in a plane that stands upright."""

    from_s: float | None
    to_s: float | None
    along: Speed | None
    upward: Speed | None
    why_not: str
    outside: bool


@dataclass(frozen=True)
class ShownWay:
    name: str
    by: str
    bodies: list[ShownBody]
    rows: list[WayRow]
    cautions: list[str]  # of the planes that its speeds are measured in

    @property
    def has_upward(self) -> bool:
        return any(row.upward is not None for row in self.rows)

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
    station = first.row.recording.station
    planes = {one.plane.key: one.plane for one in way.between if one.plane is not None}
    told_of = [caution for plane in planes.values() for caution in caution_words(plane, station)]
    return ShownWay(
        name=first.view.name if first.view else station.name,
        by=first.by,
        bodies=bodies,
        rows=[_between(one, by_key) for one in way.between],
        cautions=list(dict.fromkeys(told_of)),
    )


def _between(one: Between, by_key: dict[Any, ShownBody]) -> WayRow:
    upright = one.plane is not None and one.plane.row.lies == PicturePlane.Lies.UPRIGHT
    away, towards = _("away from the start wall"), _("towards the start wall")
    return WayRow(
        from_s=by_key[one.one.row.pk].at_s,
        to_s=by_key[one.other.row.pk].at_s,
        along=_speed(one.step.along, away, towards) if one.step else None,
        upward=_speed(one.step.upward, _("up"), _("down")) if one.step and upright else None,
        why_not=_WHY_NOT[one.why_not]() if one.why_not else "",
        outside=one.outside,
    )


def _speed(speed: Quantity, forward: str, back: str) -> Speed:
    """Its size, with the sense in words where the sign is sure."""
    size = speed if speed.value >= 0 else speed.times(-1.0)
    sure = size.value > size.half_width_95 and claim(size) is not Claim.TOO_UNSURE
    sense = (forward if speed.value > 0 else back) if sure else ""
    return Speed(told(size, Unit.M_PER_S), in_short(size, Unit.M_PER_S), sense)


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
