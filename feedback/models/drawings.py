"""What is drawn on a picture."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING

from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from django.utils.translation import pgettext_lazy

from feedback import privacy
from feedback.models.anchor import anchor_is_whole

if TYPE_CHECKING:
    from portal.models import User


class DrawingQuerySet(models.QuerySet["Drawing"]):
    def visible_to(self, user: User) -> DrawingQuerySet:
        """Drawings on swims that the user may see, as with comments."""
        return privacy.drawings_visible_to(self, user)  # type: ignore[return-value]

    def for_swimmer(self) -> DrawingQuerySet:
        """Of these, what may stand in what is made for the swimmer."""
        return privacy.drawn_for_swimmer(self)  # type: ignore[return-value]


class Drawing(models.Model):
    """Drawn on the frame at `pts_ticks` of its recording, until the one at `until_ticks`.

    `points` are [x, y] in fractions of the picture's width and height, (0, 0) its top left; how
    many a kind has, feedback/compute/drawing.py says. `width_px` and `height_px` are of the
    picture that it was drawn on, so that angles keep their size in any other.
    """

    class Kind(models.TextChoices):
        POINTER = "pointer", _("pointer")
        RING = "ring", _("ring")
        TRACE = "trace", _("trace")
        JOINT = "joint", _("joint")
        LEVEL = "level", _("level")
        PLUMB_LINE = "plumb-line", _("plumb line")

    class Colour(models.TextChoices):
        FLAG = "flag", _("yellow")
        ROPE = "rope", pgettext_lazy("colour", "red")
        WATER = "water", _("blue")
        GOOD = "good", _("green")

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    swim = models.ForeignKey("clinics.Swim", models.CASCADE, related_name="drawings")
    comment = models.ForeignKey(
        "feedback.Comment", models.SET_NULL, null=True, related_name="drawings"
    )
    recording = models.ForeignKey("clinics.Recording", models.PROTECT, related_name="drawings")
    pts_ticks = models.BigIntegerField()
    until_ticks = models.BigIntegerField(null=True)
    kind = models.CharField(max_length=12, choices=Kind)
    straight = models.BooleanField(default=False)  # of a trace: corners joined by straight lines
    points = models.JSONField()
    width_px = models.PositiveIntegerField()
    height_px = models.PositiveIntegerField()
    colour = models.CharField(max_length=8, choices=Colour, default=Colour.FLAG)
    author = models.ForeignKey("portal.User", models.SET_NULL, null=True, related_name="drawings")
    for_coaches = models.BooleanField(default=False)
    created_at = models.DateTimeField(default=timezone.now)
    sent_at = models.DateTimeField(null=True)  # null: a draft of its author's

    objects = DrawingQuerySet.as_manager()

    class Meta:
        ordering = ["created_at"]
        constraints = [
            anchor_is_whole("drawing_anchor_and_span"),
            models.CheckConstraint(
                condition=models.Q(width_px__gt=0, height_px__gt=0), name="drawing_on_a_picture"
            ),
        ]
