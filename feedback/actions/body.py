"""Points of the swimmer's body on a frame: set, moved, taken away; one table for all of a swim.

Points go with their frame: each time all of the frame's are given, so that sent twice they stand
once, and the last one that somebody sends is what stands.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from django.db import transaction
from django.utils import timezone

from feedback.actions.frames import pts_ticks_of
from feedback.actions.measured import interval_ticks_at
from feedback.compute.measuring.body.points import cleaned
from feedback.models import BodyPoints
from portal.actions.audit import record

if TYPE_CHECKING:
    from clinics.models import Clip, Swim
    from portal.models import User

SITTING = dt.timedelta(minutes=15)
"""Points are sent one by one as they are set: within so long of the first it is one act, and the
trail has one record of it."""


@transaction.atomic
def set_body_points(
    *,
    swim: Swim,
    by: User,
    clip: Clip,
    frame: int,
    points: Mapping[str, Sequence[float]],
    width_px: int,
    height_px: int,
    table: str | None = None,
) -> BodyPoints | None:
    """All points of a frame by one person; None: there are none any more, and the row is gone.
    `table` is that of all frames that this person set on the swim; None: as it was.

    Raises PointsWrong, FrameUnknown.
    """
    kept = {name: list(at) for name, at in cleaned(points, width_px, height_px).items()}
    pts_ticks = pts_ticks_of(clip, frame)
    if table is not None:
        choose_body_table(swim=swim, by=by, table=table)
    mine = BodyPoints.objects.select_for_update().filter(swim=swim, placed_by=by)
    here = mine.filter(recording=clip.recording, pts_ticks=pts_ticks).first()
    if not kept:
        if here is not None:
            take_body_points_away(body=here, by=by)
        return None
    size = {"picture_width": width_px, "picture_height": height_px}
    if here is not None:
        return _changed(here, by, {"points": kept, **size, "table": table or here.table})
    first = mine.first()
    told = {
        "points": kept,
        "table": table or (first.table if first else BodyPoints.Table.MEAN),
        **size,
    }
    body, new = BodyPoints.objects.get_or_create(  # the same may come twice at one time
        swim=swim,
        placed_by=by,
        recording=clip.recording,
        pts_ticks=pts_ticks,
        defaults={**told, "interval_ticks": interval_ticks_at(clip.recording, pts_ticks)},
    )
    if not new:
        return _changed(body, by, told)
    _note("body-points-set", body, by)
    return body


def _changed(body: BodyPoints, by: User, told: dict[str, Any]) -> BodyPoints:
    if all(getattr(body, name) == value for name, value in told.items()):
        return body
    for name, value in told.items():
        setattr(body, name, value)
    if timezone.now() - body.placed_at > SITTING:
        body.placed_at = timezone.now()
        _note("body-points-changed", body, by)
    body.save()
    return body


@transaction.atomic
def choose_body_table(*, swim: Swim, by: User, table: str) -> int:
    """For all frames that this person set on the swim; how many have another one now."""
    rows = BodyPoints.objects.filter(swim=swim, placed_by=by).exclude(table=table)
    first = rows.select_related("swim__entry__clinic__club").first()
    if first is None:
        return 0
    changed = rows.update(table=table)
    _note("body-table-chosen", first, by, table=table)
    return changed


@transaction.atomic
def take_body_points_away(*, body: BodyPoints, by: User) -> None:
    """All of a frame. Done twice it is noted once."""
    _, gone = BodyPoints.objects.filter(pk=body.pk).delete()
    if gone:
        _note("body-points-taken-away", body, by)


def _note(action: str, body: BodyPoints, by: User, **more: Any) -> None:
    record(
        action=action,
        by=by,
        subject=body,
        club=body.swim.entry.clinic.club,
        detail={"swim": str(body.swim_id), **more},
    )
