"""Who else is in picture, what is covered, and what was put away at once."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING

from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from clinics import privacy_plans

if TYPE_CHECKING:
    from portal.models import User


class InPicture(models.Model):
    """Somebody who can be recognised in a recording over a span of it, in 1/90000 s of its media
    time, half open. It counts for every clip that reaches into the span, but for the own."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    recording = models.ForeignKey(
        "clinics.Recording", models.CASCADE, related_name="people_in_picture"
    )
    swimmer = models.ForeignKey("clinics.Swimmer", models.CASCADE, related_name="in_picture")
    from_ticks = models.BigIntegerField()
    to_ticks = models.BigIntegerField()
    tagged_at = models.DateTimeField(default=timezone.now)
    tagged_by = models.ForeignKey("portal.User", models.SET_NULL, null=True, related_name="+")

    class Meta:
        ordering = ["from_ticks"]
        indexes = [models.Index(fields=["recording", "from_ticks", "to_ticks"])]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(from_ticks__lt=models.F("to_ticks")),
                name="in_picture_from_before_to",
            )
        ]


class StationMask(models.Model):
    """An area that is covered in everything made from a station's recordings: a rectangle in
    shares of the picture's width and height, from its upper left corner."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    station = models.ForeignKey("clinics.Station", models.CASCADE, related_name="masks")
    left = models.FloatField()
    top = models.FloatField()
    width = models.FloatField()
    height = models.FloatField()
    note = models.CharField(max_length=200, blank=True)
    made_at = models.DateTimeField(default=timezone.now)
    made_by = models.ForeignKey("portal.User", models.SET_NULL, null=True, related_name="+")


class ClipMask(models.Model):
    """An area that is covered in one clip from one of its recording's frames to another, both
    included. `covers`: whom it covers, so that this person need not agree to be seen there;
    it counts once the clip has been made again after `made_at`, and a checker passed it on."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    clip = models.ForeignKey("clinics.Clip", models.CASCADE, related_name="masks")
    first_frame = models.PositiveIntegerField()
    last_frame = models.PositiveIntegerField()
    left = models.FloatField()
    top = models.FloatField()
    width = models.FloatField()
    height = models.FloatField()
    covers = models.ForeignKey("clinics.Swimmer", models.SET_NULL, null=True, related_name="+")
    made_at = models.DateTimeField(default=timezone.now)
    made_by = models.ForeignKey("portal.User", models.SET_NULL, null=True, related_name="+")

    class Meta:
        ordering = ["first_frame"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(first_frame__lte=models.F("last_frame")),
                name="clip_mask_first_before_last",
            )
        ]


class MinorReportQuerySet(models.QuerySet["MinorReport"]):
    def looked_into_by(self, user: User) -> MinorReportQuerySet:
        """Reports that the user finds out about, as admin of the club or checker of the clinic.
        They name nobody but whose clip it is, and show no footage."""
        return privacy_plans.reports_looked_into_by(self, user)  # type: ignore[return-value]


class MinorReport(models.Model):
    """Somebody says that a minor is in a clip: nobody sees it until two people have looked.
    The one who reported may be neither of them."""

    class Outcome(models.TextChoices):
        ADULT = "adult", _("it was an adult")
        COVERED = "covered", _("covered in the picture")
        DELETED = "deleted", _("deleted")

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    clip = models.ForeignKey("clinics.Clip", models.CASCADE, related_name="minor_reports")
    reported_at = models.DateTimeField(default=timezone.now)
    reported_by = models.ForeignKey("portal.User", models.SET_NULL, null=True, related_name="+")
    outcome = models.CharField(max_length=8, choices=Outcome, blank=True)
    first_by = models.ForeignKey("portal.User", models.SET_NULL, null=True, related_name="+")
    first_at = models.DateTimeField(null=True)
    second_by = models.ForeignKey("portal.User", models.SET_NULL, null=True, related_name="+")
    resolved_at = models.DateTimeField(null=True)

    objects = MinorReportQuerySet.as_manager()

    class Meta:
        ordering = ["-reported_at"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(resolved_at__isnull=True)
                | (~models.Q(outcome="") & ~models.Q(first_by=models.F("second_by"))),
                name="minor_report_resolved_by_two",
            )
        ]
