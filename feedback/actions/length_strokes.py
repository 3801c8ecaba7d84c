"""In which stroke each length of a medley was swum, as a coach says."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from feedback.models import LengthStrokes
from portal.actions.audit import record

if TYPE_CHECKING:
    from clinics.models import Swim
    from portal.models import User


@transaction.atomic
def say_strokes(*, swim: Swim, strokes: Sequence[str], by: User) -> LengthStrokes:
    """One stroke a length, in order. Said again it changes nothing and is noted once."""
    row = LengthStrokes.objects.select_for_update().filter(swim=swim).first()
    if row is not None and row.strokes == list(strokes):
        return row
    row = row or LengthStrokes(swim=swim)
    row.strokes, row.said_by, row.said_at = list(strokes), by, timezone.now()
    row.save()
    record(
        action="strokes-said",
        by=by,
        subject=swim,
        club=swim.entry.clinic.club,
        detail={"strokes": list(strokes)},
    )
    return row
