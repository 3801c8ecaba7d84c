"""What is said about a swim, at an instant of a view."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING

from django.db import models
from django.utils import timezone

from feedback import privacy

if TYPE_CHECKING:
    from portal.models import User


class CommentQuerySet(models.QuerySet["Comment"]):
    def visible_to(self, user: User) -> CommentQuerySet:
        """Comments on swims that the user may see; drafts only to who wrote them."""
        return privacy.comments_visible_to(self, user)  # type: ignore[return-value]


class Comment(models.Model):
    """Said at a frame, anchored to what was on screen: recording and PTS of that frame.

    `pts_ticks` is media time of the recording in 1/90000 s. A comment without a recording
    is about the whole swim. A reply has no anchor of its own: it stands under its parent.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    swim = models.ForeignKey("clinics.Swim", models.CASCADE, related_name="comments")
    recording = models.ForeignKey(
        "clinics.Recording", models.PROTECT, null=True, related_name="comments"
    )
    pts_ticks = models.BigIntegerField(null=True)
    reply_to = models.ForeignKey("self", models.CASCADE, null=True, related_name="replies")
    author = models.ForeignKey("portal.User", models.SET_NULL, null=True, related_name="comments")
    text = models.TextField(max_length=4000)
    created_at = models.DateTimeField(default=timezone.now)
    edited_at = models.DateTimeField(null=True)
    sent_at = models.DateTimeField(null=True)  # null: a draft of its author's
    told_at = models.DateTimeField(null=True)  # when mail about it was written, or needed none

    objects = CommentQuerySet.as_manager()

    class Meta:
        ordering = ["created_at"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(recording__isnull=True, pts_ticks__isnull=True)
                | models.Q(recording__isnull=False, pts_ticks__isnull=False),
                name="comment_anchor_whole",
            ),
            models.CheckConstraint(condition=~models.Q(text=""), name="comment_says_something"),
        ]


class LastLooked(models.Model):
    """When somebody last looked at a swim, so that what is new can be marked."""

    user = models.ForeignKey("portal.User", models.CASCADE, related_name="+")
    swim = models.ForeignKey("clinics.Swim", models.CASCADE, related_name="+")
    at = models.DateTimeField(default=timezone.now)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["user", "swim"], name="last_looked_once")]
