"""What a coach gives a swimmer for a swim: one thing to try and up to three points."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING

from django.db import models
from django.utils import timezone

from feedback import privacy

if TYPE_CHECKING:
    from portal.models import User


class Feedback(models.Model):
    """What the coaches of a swim are writing; the swimmer reads what was sent of it."""

    swim = models.OneToOneField(
        "clinics.Swim", models.CASCADE, primary_key=True, related_name="feedback"
    )
    one_thing = models.CharField(max_length=300, blank=True)
    points = models.JSONField(default=list)  # up to three short sentences
    updated_at = models.DateTimeField(default=timezone.now)
    updated_by = models.ForeignKey("portal.User", models.SET_NULL, null=True, related_name="+")


class FeedbackSentQuerySet(models.QuerySet["FeedbackSent"]):
    def visible_to(self, user: User) -> FeedbackSentQuerySet:
        """What was sent on swims that the user may see."""
        return privacy.on_visible_swims(self, user)  # type: ignore[return-value]


class FeedbackSent(models.Model):
    """A swim's feedback as it was sent; the newest counts."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    swim = models.ForeignKey("clinics.Swim", models.CASCADE, related_name="feedback_sent")
    one_thing = models.CharField(max_length=300, blank=True)
    points = models.JSONField(default=list)
    sent_at = models.DateTimeField(default=timezone.now)
    sent_by = models.ForeignKey("portal.User", models.SET_NULL, null=True, related_name="+")
    told_at = models.DateTimeField(null=True)  # when mail about it was written, or needed none

    objects = FeedbackSentQuerySet.as_manager()

    class Meta:
        ordering = ["-sent_at"]


class TakenSwimQuerySet(models.QuerySet["TakenSwim"]):
    def holding(self) -> TakenSwimQuerySet:
        """Taken by somebody who still coaches the clinic."""
        return privacy.by_who_still_coaches(self)  # type: ignore[return-value]


class TakenSwim(models.Model):
    """A swim of the queue that one coach works on; the others see by whom."""

    swim = models.OneToOneField(
        "clinics.Swim", models.CASCADE, primary_key=True, related_name="taken"
    )
    coach = models.ForeignKey("portal.User", models.CASCADE, related_name="taken_swims")
    at = models.DateTimeField(default=timezone.now)
    by = models.ForeignKey("portal.User", models.SET_NULL, null=True, related_name="+")

    objects = TakenSwimQuerySet.as_manager()
