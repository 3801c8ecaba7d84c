"""What a swimmer takes along of the points of their body, and of what these tell. Through the
fence: what they read on their pages, no more."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from clinics.actions.export import folder_of, own_swims
from clinics.compute.time import TICKS_PER_S, iso_utc
from feedback.actions.body_told import body_of
from feedback.actions.frames import swim_s_at
from feedback.models import BodyPoints
from portal.actions.export import Pack

DIGITS = 6


def put_body(pack: Pack) -> None:
    """Points in parts of the picture's width and height; angles in degrees with their ±."""
    frame = ("swim", "placed_at", "by", "at_swim_s", "at_media_s")
    rows = list(_rows(pack))
    pack.table(
        "body-points",
        (*frame, "point", "x", "y"),
        (
            (*its, name, x, y)
            for body, its in rows
            for name, (x, y, *_finest) in body.points.items()
        ),
    )
    pack.table(
        "body-angles",
        (*frame, "angle", "side", "degrees_as_seen", "half_width_95"),
        ((*its, *angle) for body, its in rows for angle in _angles(body)),
    )


def _rows(pack: Pack) -> Iterator[tuple[BodyPoints, tuple[Any, ...]]]:
    seen = BodyPoints.objects.visible_to(pack.user)
    for swim in own_swims(pack):
        its = seen.filter(swim=swim).select_related("placed_by", "recording__clock_fit")
        for body in its:
            at_s = swim_s_at(swim, body.recording, body.pts_ticks)
            by = "you" if body.placed_by == pack.user else str(body.placed_by or "")
            at_swim_s = None if at_s is None else round(at_s, 4)
            at_media_s = round(body.pts_ticks / TICKS_PER_S, 4)
            yield body, (folder_of(swim), iso_utc(body.placed_at), by, at_swim_s, at_media_s)


def _angles(body: BodyPoints) -> Iterator[tuple[Any, ...]]:
    for one in body_of(body).angles:
        side = one.side.value if one.side else ""
        value, half = one.quantity.value, one.quantity.half_width_95
        yield one.kind.value, side, round(value, DIGITS), round(half, DIGITS)
