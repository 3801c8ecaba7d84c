"""Placing a plane on a recording, and taking one away.

A plane stands on the recording, which all swims share that it filmed: whoever coaches one of them
in whose pictures it holds may take it away, since what is wrong with it is wrong for all; the
record says who did.
"""

from __future__ import annotations

from collections.abc import Sequence
from enum import StrEnum
from typing import TYPE_CHECKING

from django.db import transaction

from clinics.models import Station
from feedback.actions.frames import pts_ticks_of
from feedback.actions.planes import HeldPlane, known_marks
from feedback.compute.measuring.plane_marks import SetMark, plane_of
from feedback.models import PicturePlane
from portal.actions.audit import record

if TYPE_CHECKING:
    from clinics.models import Clip, Swim
    from portal.models import User


class Span(StrEnum):
    """Of which frames a plane holds."""

    WHOLE = "whole"
    ON = "on"  # from the frame on which it was placed
    UNTIL = "until"
    FRAME = "frame"


class CameraMoves(Exception):
    """The station's camera walks along or is held by hand: a plane holds on its frame alone."""


def moves(station: Station) -> bool:
    """In each frame another plane; nothing is assumed from one to the next."""
    return station.kind == Station.Kind.DECK or not station.fixed_mount


def under_water(station: Station) -> bool:
    return station.kind in {Station.Kind.UNDERWATER, Station.Kind.TURN_WINDOW}


def draft_plane(
    *,
    clip: Clip,
    frame: int,
    marks: Sequence[SetMark],
    span: Span,
    lies: str,
    size_px: tuple[int, int],
    distance_m: float | None,
) -> HeldPlane:
    """What would be placed; nothing is saved. Raises BadInput, FrameUnknown, CameraMoves."""
    if moves(clip.station) and span is not Span.FRAME:
        raise CameraMoves(f"station {clip.station_id}")
    at = pts_ticks_of(clip, frame)
    points = [one.kept() for one in marks]
    plane_of(known_marks(points, *size_px), key="draft")
    row = PicturePlane(
        recording=clip.recording,
        pts_ticks=at,
        from_ticks=at if span in {Span.ON, Span.FRAME} else None,
        to_ticks=at if span in {Span.UNTIL, Span.FRAME} else None,
        points=points,
        picture_width=size_px[0],
        picture_height=size_px[1],
        distance_m=distance_m,
        under_water=under_water(clip.station),
        lies=lies,
    )
    return HeldPlane(row)


@transaction.atomic
def place_plane(*, draft: HeldPlane, swim: Swim, by: User) -> PicturePlane:
    """The same marks by the same person on the same frame stand once: a tap that was sent twice
    changes nothing."""
    row = draft.row
    same = PicturePlane.objects.filter(
        recording=row.recording,
        pts_ticks=row.pts_ticks,
        from_ticks=row.from_ticks,
        to_ticks=row.to_ticks,
        points=row.points,
        lies=row.lies,
        distance_m=row.distance_m,
        placed_by=by,
    ).first()
    if same is not None:
        return same
    row.placed_by = by
    row.save(force_insert=True)
    _note("plane-placed", row, swim, by)
    return row


@transaction.atomic
def take_plane_away(*, plane: PicturePlane, swim: Swim, by: User) -> None:
    """Done twice it is noted once."""
    _, gone = PicturePlane.objects.filter(pk=plane.pk).delete()
    if gone:
        _note("plane-taken-away", plane, swim, by)


def _note(action: str, plane: PicturePlane, swim: Swim, by: User) -> None:
    record(
        action=action,
        by=by,
        subject=plane,
        club=swim.entry.clinic.club,
        detail={
            "swim": str(swim.pk),
            "recording": str(plane.recording_id),
            "marks": len(plane.points),
            "placed_by": str(plane.placed_by_id or ""),
        },
    )
