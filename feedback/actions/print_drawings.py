"""Drawings printed into a still."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from django.db.models import Q

from clinics.media.compose import Overlay
from feedback.actions.frames import pts_ticks_of
from feedback.compute.drawing import Ellipse, Polyline, Shape, shapes_of
from feedback.models import Drawing

if TYPE_CHECKING:
    from feedback.actions.clip_clocks import ClipFilm
    from feedback.models import TakeAlong


def drawings_for(row: TakeAlong, film: ClipFilm, frame: int) -> list[Drawing]:
    """What stands on a frame of a still, in the order in which it was drawn.

    Who asked for it sees all of that, own drafts included. In what a coach makes for the swimmer
    there is only what was sent to the swimmer.
    """
    at = pts_ticks_of(film.clip, frame)
    stands = Q(pts_ticks=at) | Q(pts_ticks__lte=at, until_ticks__gte=at)
    drawings = Drawing.objects.visible_to(row.asked_by).filter(
        stands, swim=row.swim_id, recording=film.clip.recording_id
    )
    if row.for_swimmer:
        drawings = drawings.for_swimmer()
    return list(drawings.order_by("created_at", "pk"))


def overlay_of(drawings: Iterable[Drawing], width: int, height: int) -> Overlay:
    overlay = Overlay(width, height)
    for drawing in drawings:
        told = (drawing.kind, drawing.points, drawing.straight, width, height, drawing.colour)
        for shape in shapes_of(*told):
            _paint(overlay, shape)
    return overlay


def _paint(overlay: Overlay, shape: Shape) -> None:
    if isinstance(shape, Polyline):
        overlay.line(shape.places, shape.width_px, shape.colour)
    elif isinstance(shape, Ellipse):
        centre, radii = (shape.cx, shape.cy), (shape.rx, shape.ry)
        overlay.rim(centre, radii, shape.width_px, shape.colour)
    else:
        overlay.words((shape.x, shape.y), shape.text, shape.size_px, shape.colour, shape.casing)
