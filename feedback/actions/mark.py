"""Marks: an event of the swim on the frame that shows it first.

A mark of the start signal is kept beside the swim's own start and does not move it: swim time
stays what the start log and the soundtracks say, until somebody makes that mark the zero.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import transaction

from feedback.actions.frames import pts_ticks_of
from feedback.actions.measured import interval_ticks_at
from feedback.models import Mark
from portal.actions.audit import record

if TYPE_CHECKING:
    from clinics.models import Clip, Swim
    from portal.models import User


@transaction.atomic
def place_mark(
    *, swim: Swim, by: User, clip: Clip, frame: int, kind: str, distance_m: float | None = None
) -> Mark:
    """The same event by the same person on the same frame stands once; asked for again, it
    changes nothing but a distance that is another one now. Raises FrameUnknown."""
    pts_ticks = pts_ticks_of(clip, frame)
    interval = interval_ticks_at(clip.recording, pts_ticks)
    mark, new = Mark.objects.get_or_create(
        swim=swim,
        recording=clip.recording,
        pts_ticks=pts_ticks,
        kind=kind,
        placed_by=by,
        defaults={"distance_m": distance_m, "interval_ticks": interval},
    )
    if new:
        _note("mark-placed", mark, by)
    elif mark.distance_m != distance_m:
        mark.distance_m = distance_m
        mark.save(update_fields=["distance_m"])
        _note("mark-changed", mark, by)
    return mark


@transaction.atomic
def take_mark_away(*, mark: Mark, by: User) -> None:
    """Done twice it is noted once."""
    _, gone = Mark.objects.filter(pk=mark.pk).delete()
    if gone:
        _note("mark-taken-away", mark, by)


def _note(action: str, mark: Mark, by: User) -> None:
    record(
        action=action,
        by=by,
        subject=mark,
        club=mark.swim.entry.clinic.club,
        detail={"swim": str(mark.swim_id), "kind": mark.kind},
    )
