"""Events placed on a frame, and what each length of a medley was swum in."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING

from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from feedback import privacy

if TYPE_CHECKING:
    from portal.models import User


class MarkQuerySet(models.QuerySet["Mark"]):
    def visible_to(self, user: User) -> MarkQuerySet:
        """Marks on swims that the user may see."""
        return privacy.marks_visible_to(self, user)  # type: ignore[return-value]


class Mark(models.Model):
    """An event of the swim on a frame of a recording: the first frame that shows it.

    A kind may stand more than once: a swim has several turns, and two people may mark the same
    event.
    """

    class Kind(models.TextChoices):
        START_SIGNAL = "start-signal", _("start signal")
        FIRST_MOVEMENT = "first-movement", _("first movement")
        FEET_LEAVE_BLOCK = "feet-leave-block", _("feet leave block")
        FIRST_ENTRY = "first-entry", _("first entry")
        FULL_ENTRY = "full-entry", _("full entry")
        BREAKOUT = "breakout", _("head breaks surface")
        HAND_ENTRY = "hand-entry", _("hand entry")
        HANDS_TOUCH_WALL = "hands-touch-wall", _("hands touch wall")
        FEET_TOUCH_WALL = "feet-touch-wall", _("feet touch wall")
        FEET_LEAVE_WALL = "feet-leave-wall", _("feet leave wall")
        HEAD_AT_DISTANCE = "head-at-distance", _("head at a distance")

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    swim = models.ForeignKey("clinics.Swim", models.CASCADE, related_name="marks")
    recording = models.ForeignKey("clinics.Recording", models.PROTECT, related_name="marks")
    pts_ticks = models.BigIntegerField()
    kind = models.CharField(max_length=20, choices=Kind)
    # from the frame before to this one; kept here, since marks outlive lists of frames
    interval_ticks = models.PositiveIntegerField(null=True)
    # swum from the start until then: of a head at a distance, a breakout, a first entry
    distance_m = models.FloatField(null=True)
    distance_u_m = models.FloatField(null=True)  # standard uncertainty; null: nobody said
    # where in the picture the body part is, in parts of its width and height
    x = models.FloatField(null=True)
    y = models.FloatField(null=True)
    placed_by = models.ForeignKey("portal.User", models.SET_NULL, null=True, related_name="marks")
    placed_at = models.DateTimeField(default=timezone.now)

    objects = MarkQuerySet.as_manager()

    class Meta:
        ordering = ["placed_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["swim", "recording", "pts_ticks", "kind", "placed_by"],
                name="mark_once_per_frame_and_person",
            ),
            # a head is at a distance that was typed, or where it is seen in the picture
            models.CheckConstraint(
                condition=models.Q(distance_m__isnull=False)
                | (
                    (~models.Q(kind="head-at-distance") | models.Q(x__isnull=False))
                    & models.Q(distance_u_m__isnull=True)
                ),
                name="mark_distance_where_meant",
            ),
            models.CheckConstraint(
                condition=models.Q(x__isnull=True, y__isnull=True)
                | models.Q(x__gte=0, x__lte=1, y__gte=0, y__lte=1),
                name="mark_place_is_in_picture",
            ),
        ]


class LengthStrokes(models.Model):
    """The stroke of each length of a medley whose distance does not say it by itself."""

    swim = models.OneToOneField(
        "clinics.Swim", models.CASCADE, primary_key=True, related_name="length_strokes"
    )
    strokes = models.JSONField(default=list)  # ["butterfly", "breaststroke", …], one a length
    said_by = models.ForeignKey("portal.User", models.SET_NULL, null=True, related_name="+")
    said_at = models.DateTimeField(default=timezone.now)
