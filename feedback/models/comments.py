"""What is said about a swim: at an instant or over a span of a view, or about the whole."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING

from django.db import models
from django.utils import timezone

from feedback import privacy
from feedback.models.anchor import anchor_is_whole
from feedback.models.phases import Phase

if TYPE_CHECKING:
    from portal.models import User


class CommentQuerySet(models.QuerySet["Comment"]):
    def visible_to(self, user: User) -> CommentQuerySet:
        """Comments on swims that the user may see; drafts only to who wrote them; notes among
        coaches never to the swimmer."""
        return privacy.comments_visible_to(self, user)  # type: ignore[return-value]


class Comment(models.Model):
    """Said at a frame, anchored to what was on screen: recording and PTS of that frame.

    `pts_ticks` is media time of the recording in 1/90000 s; `until_ticks` ends a span (the PTS
    of its last frame). A comment without a recording is about the whole swim; one with
    `on_swim` is about the swim at that instant, not about what this one view shows. A reply has
    no anchor of its own: it stands under its parent. `for_coaches`: a note that the swimmer
    never sees; so are its replies. `taken_back_at`: its author took it back; its words are gone,
    and it stands only for the replies under it.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    swim = models.ForeignKey("clinics.Swim", models.CASCADE, related_name="comments")
    recording = models.ForeignKey(
        "clinics.Recording", models.PROTECT, null=True, related_name="comments"
    )
    pts_ticks = models.BigIntegerField(null=True)
    until_ticks = models.BigIntegerField(null=True)
    on_swim = models.BooleanField(default=False)
    phase = models.CharField(max_length=12, choices=Phase, blank=True)
    for_coaches = models.BooleanField(default=False)
    reply_to = models.ForeignKey("self", models.CASCADE, null=True, related_name="replies")
    author = models.ForeignKey("portal.User", models.SET_NULL, null=True, related_name="comments")
    text = models.TextField(max_length=4000)
    created_at = models.DateTimeField(default=timezone.now)
    edited_at = models.DateTimeField(null=True)
    sent_at = models.DateTimeField(null=True)  # null: a draft of its author's
    told_at = models.DateTimeField(null=True)  # when mail about it was written, or needed none
    taken_back_at = models.DateTimeField(null=True)

    objects = CommentQuerySet.as_manager()

    class Meta:
        ordering = ["created_at"]
        constraints = [
            anchor_is_whole("comment_anchor_and_span"),
            models.CheckConstraint(
                condition=~models.Q(text="") | models.Q(taken_back_at__isnull=False),
                name="comment_says_something",
            ),
        ]


class CommentVersion(models.Model):
    """What a comment said before it was changed, once it had been sent."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    comment = models.ForeignKey(Comment, models.CASCADE, related_name="versions")
    text = models.TextField(max_length=4000)
    until_at = models.DateTimeField(default=timezone.now)  # when it was replaced

    class Meta:
        ordering = ["until_at"]


class Phrase(models.Model):
    """Words that a coach uses again and again; each coach has their own."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    coach = models.ForeignKey("portal.User", models.CASCADE, related_name="phrases")
    text = models.CharField(max_length=400)
    phase = models.CharField(max_length=12, choices=Phase, blank=True)
    used_count = models.PositiveIntegerField(default=0)
    created_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["-used_count", "text"]
        constraints = [
            models.UniqueConstraint(fields=["coach", "text"], name="phrase_once_per_coach"),
            models.CheckConstraint(condition=~models.Q(text=""), name="phrase_says_something"),
        ]


class LastLooked(models.Model):
    """When somebody last looked at a swim, so that what is new can be marked."""

    user = models.ForeignKey("portal.User", models.CASCADE, related_name="+")
    swim = models.ForeignKey("clinics.Swim", models.CASCADE, related_name="+")
    at = models.DateTimeField(default=timezone.now)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["user", "swim"], name="last_looked_once")]
