"""Stills and films to take along: made by a job from clips, behind the fence as the clips are."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING

from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from feedback import privacy

if TYPE_CHECKING:
    from portal.models import User


class TakeAlongQuerySet(models.QuerySet["TakeAlong"]):
    def visible_to(self, user: User) -> TakeAlongQuerySet:
        """What the user asked for, or a coach made for them, while every clip in it is visible
        to them."""
        return privacy.take_along_visible_to(self, user)  # type: ignore[return-value]

    def for_page_of(self, user: User) -> TakeAlongQuerySet:
        """What was made for the swimmer, for them and for all coaches of the swim."""
        return privacy.stills_for_page_visible_to(self, user)  # type: ignore[return-value]


class TakeAlong(models.Model):
    """A still, a row of stills or a film. `spec` says of what (feedback/compute/take_along.py);
    `clips` are all that can be seen in it: it is shown only as long as each of them is. `entry` is
    who swam as was known then: it goes out of sight when the swim turns out to be another's."""

    class Kind(models.TextChoices):
        STILL = "still", _("still")
        ROW = "row", _("row of stills")
        FILM = "film", _("film")

    class State(models.TextChoices):
        WAITING = "waiting", _("waiting")
        READY = "ready", _("ready")
        FAILED = "failed", _("failed")

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    swim = models.ForeignKey("clinics.Swim", models.CASCADE, related_name="take_along")
    entry = models.ForeignKey("clinics.Entry", models.CASCADE, related_name="+")
    clips = models.ManyToManyField("clinics.Clip", related_name="+")
    clip_count = models.PositiveSmallIntegerField()  # a clip that goes takes it out of sight
    kind = models.CharField(max_length=5, choices=Kind)
    spec = models.JSONField()
    asked_by = models.ForeignKey("portal.User", models.CASCADE, related_name="+")
    for_swimmer = models.BooleanField(default=False)
    state = models.CharField(max_length=7, choices=State, default=State.WAITING)
    reason = models.TextField(blank=True)
    stored = models.OneToOneField(
        "portal.StoredFile", models.PROTECT, null=True, related_name="take_along"
    )
    created_at = models.DateTimeField(default=timezone.now)
    made_at = models.DateTimeField(null=True)

    objects = TakeAlongQuerySet.as_manager()

    class Meta:
        ordering = ["-created_at"]
