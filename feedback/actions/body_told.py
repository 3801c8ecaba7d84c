"""Stored points of the body as angles, centre of mass and its way (feedback/compute/measuring).
Nothing computed is stored."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import groupby, pairwise

from clinics.compute.errors import BadInput
from clinics.compute.time import ticks_to_media_s
from feedback.actions.planes import HeldPlane, HeldPlanes, held_planes
from feedback.compute.measuring.body.centre import Centre
from feedback.compute.measuring.body.figures import ENOUGH_SHARE, Angle, angles_of, centre_on
from feedback.compute.measuring.body.path import OnFrame, Step, steps
from feedback.compute.measuring.body.points import OnPicture, on_picture
from feedback.compute.measuring.body.tables import TABLES
from feedback.compute.measuring.plane import Spot
from feedback.compute.measuring.uncertain import exact
from feedback.models import BodyPoints


@dataclass(frozen=True)
class Body:
    """One frame's points as they are read. `centre_u_px`: of the clicks, along each axis."""

    row: BodyPoints
    seen: OnPicture
    angles: list[Angle]
    centre: Centre
    centre_u_px: float

    @property
    def has_centre(self) -> bool:
        """Enough of the body's mass for a centre of the body."""
        return self.centre.at is not None and self.centre.share >= ENOUGH_SHARE

    @property
    def same_parts(self) -> tuple[str, frozenset[tuple[str, object]]]:
        """Centres of other parts, or by other tables, are not the same point of the body."""
        return self.row.table, frozenset((one.part, one.side) for one in self.centre.missing)


@dataclass(frozen=True)
class Between:
    """From one frame to the next. `step` has speeds in metres per second, None: `why_not`."""

    one: Body
    other: Body
    step: Step | None
    why_not: str = ""  # "parts", "plane", "two-planes", "horizon"
    outside: bool = False  # not between the plane's marks, where it is the less sure
    plane: HeldPlane | None = None


@dataclass(frozen=True)
class Way:
    """The centre over several frames of one recording, as one person set them."""

    bodies: list[Body]
    between: list[Between]


def body_of(row: BodyPoints) -> Body:
    seen = on_picture(row.points, row.picture_width, row.picture_height)
    centre, u_px = centre_on(seen, TABLES[row.table])
    return Body(row, seen, angles_of(seen, key=str(row.pk)), centre, u_px)


def ways_of(bodies: Iterable[Body]) -> list[Way]:
    """One query for planes, none where no view has two frames with a centre. Rows come with
    their `recording__clock_fit`."""
    groups = [its for its in _by_view_and_person(bodies) if len(its) > 1]
    planes = held_planes(its[0].row.recording_id for its in groups)
    return [Way(its, [_between(a, b, planes) for a, b in pairwise(its)]) for its in groups]


def _by_view_and_person(bodies: Iterable[Body]) -> list[list[Body]]:
    def whose(body: Body) -> tuple[str, str]:
        return str(body.row.recording_id), str(body.row.placed_by_id)

    there = sorted(
        (one for one in bodies if one.has_centre), key=lambda one: (whose(one), one.row.pts_ticks)
    )
    # of people who are no longer here two may have set the same frame: one of them counts
    once = [
        one
        for before, one in pairwise([None, *there])
        if one and not (before and _same_frame(before, one) and whose(before) == whose(one))
    ]
    return [list(its) for _whose, its in groupby(once, whose)]


def _same_frame(one: Body, other: Body) -> bool:
    return one.row.pts_ticks == other.row.pts_ticks


def _between(one: Body, other: Body, planes: HeldPlanes) -> Between:
    if one.same_parts != other.same_parts:
        return Between(one, other, None, "parts")
    held = [planes.at(body.row.recording_id, body.row.pts_ticks) for body in (one, other)]
    first, second = held
    if first is None or second is None:
        return Between(one, other, None, "plane")
    if first.key != second.key:
        return Between(one, other, None, "two-planes")
    try:
        spots = [_spot(first, body) for body in (one, other)]
    except BadInput:
        return Between(one, other, None, "horizon")
    (step,) = steps([_on_frame(body, spot) for body, spot in zip((one, other), spots, strict=True)])
    return Between(one, other, step, outside=any(spot.outside for spot in spots), plane=first)


def _spot(held: HeldPlane, body: Body) -> Spot:
    """Where the centre lies in the plane: one place in the picture, less unsure than a click."""
    assert body.centre.at is not None
    x, y = body.centre.at
    across, down = held.width / body.row.picture_width, held.height / body.row.picture_height
    u_px = body.centre_u_px * max(across, down)
    return held.plane.spot(x * across, y * down, str(body.row.pk), click_u_px=u_px)


def _on_frame(body: Body, spot: Spot) -> OnFrame:
    """A frame shows the body at its own time, whenever that is: between two frames of a camera
    there is no half of an interval to be unsure about, only the camera's rate."""
    fit = getattr(body.row.recording, "clock_fit", None)
    rate = 1 + (fit.rate_ppm if fit else 0.0) * 1e-6
    at_s = ticks_to_media_s(body.row.pts_ticks) * rate
    return OnFrame(exact(at_s), spot.x, spot.y)


def bodies_of(rows: Sequence[BodyPoints]) -> list[Body]:
    return [body_of(row) for row in rows]
