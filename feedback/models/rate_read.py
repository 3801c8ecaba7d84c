"""Stroke rates read from the picture by a job: the coaches' aid, never a measure by itself."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING

from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from feedback import privacy

if TYPE_CHECKING:
    from portal.models import User


class RateReadingQuerySet(models.QuerySet["RateReading"]):
    def visible_to(self, user: User) -> RateReadingQuerySet:
        """Readings of swims that were passed on to the user as a coach; never the swimmer."""
        return privacy.on_coached_swims(self, user)  # type: ignore[return-value]


class RateReading(models.Model):
    """A reading of one view from one frame to another. `box`: where the swimmer is on the frame
    at `box_ticks`, as parts of the picture's width and height; null: found by what moves.
    `result` as feedback/compute/rate_read/result.py writes it."""

    class State(models.TextChoices):
        WAITING = "waiting", _("waiting")
        READY = "ready", _("ready")
        FAILED = "failed", _("failed")

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    swim = models.ForeignKey("clinics.Swim", models.CASCADE, related_name="rate_readings")
    recording = models.ForeignKey("clinics.Recording", models.PROTECT, related_name="+")
    # whose files are read; the reading outlives them
    clip = models.ForeignKey("clinics.Clip", models.SET_NULL, null=True, related_name="+")
    from_ticks = models.BigIntegerField()
    to_ticks = models.BigIntegerField()
    box = models.JSONField(null=True)  # {"x": 0.2, "y": 0.4, "width": 0.3, "height": 0.2}
    box_ticks = models.BigIntegerField(null=True)
    stroke = models.CharField(max_length=20)  # whose cycles are counted, as known when asked
    state = models.CharField(max_length=7, choices=State, default=State.WAITING)
    reason = models.TextField(blank=True)
    result = models.JSONField(null=True)
    asked_by = models.ForeignKey("portal.User", models.SET_NULL, null=True, related_name="+")
    created_at = models.DateTimeField(default=timezone.now)
    made_at = models.DateTimeField(null=True)

    objects = RateReadingQuerySet.as_manager()

    class Meta:
        ordering = ["-created_at"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(to_ticks__gt=models.F("from_ticks")),
                name="rate_reading_ends_after_it_begins",
            ),
            models.CheckConstraint(
                condition=models.Q(box__isnull=True, box_ticks__isnull=True)
                | models.Q(box__isnull=False, box_ticks__isnull=False),
                name="rate_reading_box_has_its_frame",
            ),
            models.CheckConstraint(
                condition=models.Q(state="ready", result__isnull=False)
                | models.Q(~models.Q(state="ready"), result__isnull=True),
                name="rate_reading_ready_with_result",
            ),
        ]
