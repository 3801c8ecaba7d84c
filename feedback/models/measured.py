"""What measures rest on besides marks: planes in pictures, points of a body, a club's choice."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING

from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from feedback import privacy

if TYPE_CHECKING:
    from portal.models import User


class MeasuringChoice(models.Model):
    """Between which distances a club times its turns; without a row 5 m before and 10 m after."""

    club = models.OneToOneField(
        "portal.Club", models.CASCADE, primary_key=True, related_name="measuring"
    )
    turn_in_m = models.FloatField(default=5.0)
    turn_out_m = models.FloatField(default=10.0)


class PicturePlane(models.Model):
    """Marks of known place on a frame of a recording whose camera stood still: metres in its
    picture (feedback/compute/measuring/plane.py). It holds from `from_ticks` to `to_ticks`; null:
    to that end of the recording."""

    class Lies(models.TextChoices):
        """What a mark's `across_m` is."""

        FLAT = "flat", _("flat, on the water")  # across, from the swum lane's side
        UPRIGHT = "upright", _("upright, along the lane")  # up from the water's surface

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    recording = models.ForeignKey("clinics.Recording", models.CASCADE, related_name="planes")
    pts_ticks = models.BigIntegerField()
    from_ticks = models.BigIntegerField(null=True)
    to_ticks = models.BigIntegerField(null=True)
    # [{"x": 0.21, "y": 0.4, "along_m": 5.0, "across_m": 0.0, "u_m": 0.02, "what": "marker"}, …]
    # x and y in parts of the picture's width and height
    points = models.JSONField(default=list)
    picture_width = models.PositiveIntegerField()
    picture_height = models.PositiveIntegerField()
    # how far the camera is from the plane, for what a body beside it costs; null: not said
    distance_m = models.FloatField(null=True)
    under_water = models.BooleanField(default=False)
    lies = models.CharField(max_length=7, choices=Lies, default=Lies.FLAT)
    placed_by = models.ForeignKey("portal.User", models.SET_NULL, null=True, related_name="+")
    placed_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["-placed_at"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(from_ticks__isnull=True)
                | models.Q(to_ticks__isnull=True)
                | models.Q(from_ticks__lte=models.F("to_ticks")),
                name="picture_plane_span_in_order",
            )
        ]


class BodyPointsQuerySet(models.QuerySet["BodyPoints"]):
    def visible_to(self, user: User) -> BodyPointsQuerySet:
        """Points on swims that the user may see with what is said of them."""
        return privacy.on_visible_swims(self, user)  # type: ignore[return-value]


class BodyPoints(models.Model):
    """Points of the swimmer's body on one frame: for angles and the centre of mass."""

    class Table(models.TextChoices):
        MEAN = "de-leva-mean", _("mean of women and men")
        FEMALE = "de-leva-female", _("women")
        MALE = "de-leva-male", _("men")
        WINTER = "winter", _("Winter and Dempster")

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    swim = models.ForeignKey("clinics.Swim", models.CASCADE, related_name="body_points")
    recording = models.ForeignKey("clinics.Recording", models.PROTECT, related_name="+")
    pts_ticks = models.BigIntegerField()
    interval_ticks = models.PositiveIntegerField(null=True)
    # {"shoulder-left": [0.41, 0.52, 1.5], "vertex": […], "level-1": […], …} in parts of the
    # picture's width and height, and pixels of it under one of the screen when it was set
    points = models.JSONField(default=dict)
    picture_width = models.PositiveIntegerField()
    picture_height = models.PositiveIntegerField()
    table = models.CharField(max_length=16, choices=Table, default=Table.MEAN)
    placed_by = models.ForeignKey("portal.User", models.SET_NULL, null=True, related_name="+")
    placed_at = models.DateTimeField(default=timezone.now)

    objects = BodyPointsQuerySet.as_manager()

    class Meta:
        ordering = ["pts_ticks"]
        constraints = [
            models.UniqueConstraint(
                fields=["swim", "recording", "pts_ticks", "placed_by"],
                name="body_points_once_per_frame_and_person",
            )
        ]
