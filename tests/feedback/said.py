"""What was said and drawn, written straight into the database, for tests of what shows it."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.utils import timezone

from clinics.models import Recording, Swim
from feedback.models import Comment, Drawing
from portal.models import User


def comment(swim: Swim, by: User | None, text: str, *, sent: bool = True, **more: Any) -> Comment:
    return Comment.objects.create(
        swim=swim, author=by, text=text, sent_at=timezone.now() if sent else None, **more
    )


def drawing(
    swim: Swim, by: User, recording: Recording, *, sent: bool = True, **more: Any
) -> Drawing:
    return Drawing.objects.create(
        swim=swim,
        author=by,
        recording=recording,
        pts_ticks=3600 * 510,
        kind="level",
        points=[[0.1, 0.5], [0.9, 0.5]],
        width_px=640,
        height_px=360,
        sent_at=timezone.now() if sent else None,
        **more,
    )


def another_go(model: Swim, number: int, **given: Any) -> Swim:
    """A further go of the same entry, ten seconds after the one before."""
    swim = Swim.objects.get(pk=model.pk)
    swim.pk, swim.go = None, number
    swim._state.adding = True
    swim.id = Swim._meta.pk.get_default()  # type: ignore[union-attr]
    swim.start_at += dt.timedelta(seconds=10 * number)
    for name, value in given.items():
        setattr(swim, name, value)
    swim.save()
    return swim
