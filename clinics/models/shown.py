"""Whom a swim or a clip is shown to beyond its swimmer, the group and the coaches."""

from __future__ import annotations

import uuid

from django.db import models
from django.utils import timezone


class Share(models.Model):
    """A link with which anyone who has it sees one swim. Made and ended by its swimmer."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    swim = models.ForeignKey("clinics.Swim", models.CASCADE, related_name="shares")
    token_hash = models.CharField(max_length=64, unique=True)
    phrase_hash = models.CharField(max_length=200, blank=True)  # of the pass phrase, if any
    note = models.CharField(max_length=120, blank=True)  # for whom it is, for the swimmer alone
    made_at = models.DateTimeField(default=timezone.now)
    made_by = models.ForeignKey("portal.User", models.CASCADE, related_name="+")
    expires_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True)
    opened = models.PositiveIntegerField(default=0)
    last_opened_at = models.DateTimeField(null=True)

    class Meta:
        ordering = ["-made_at"]


class ShelfClip(models.Model):
    """A clip from which coaches of other clubs learn: what fault it shows, and what helps. Put
    there by a coach of its clinic; ended by that coach or, in one tap, by its swimmer."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    clip = models.ForeignKey("clinics.Clip", models.CASCADE, related_name="on_shelf")
    fault = models.CharField(max_length=120)
    remedy = models.CharField(max_length=400)
    put_at = models.DateTimeField(default=timezone.now)
    put_by = models.ForeignKey("portal.User", models.SET_NULL, null=True, related_name="+")
    ended_at = models.DateTimeField(null=True)
    ended_by = models.ForeignKey("portal.User", models.SET_NULL, null=True, related_name="+")

    class Meta:
        ordering = ["-put_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["clip"],
                condition=models.Q(ended_at__isnull=True),
                name="shelf_clip_once",
            )
        ]


class Publication(models.Model):
    """A clip for anyone: only after its swimmer and an admin each said so for that very clip."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    clip = models.ForeignKey("clinics.Clip", models.CASCADE, related_name="publications")
    swimmer_said_at = models.DateTimeField(null=True)
    swimmer_said_by = models.ForeignKey("portal.User", models.SET_NULL, null=True, related_name="+")
    admin_said_at = models.DateTimeField(null=True)
    admin_said_by = models.ForeignKey("portal.User", models.SET_NULL, null=True, related_name="+")
    ended_at = models.DateTimeField(null=True)
    ended_by = models.ForeignKey("portal.User", models.SET_NULL, null=True, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["clip"],
                condition=models.Q(ended_at__isnull=True),
                name="publication_once",
            )
        ]
