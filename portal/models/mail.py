"""Mail waits here until it is sent, so that a page never waits for a mail server."""

from __future__ import annotations

import uuid

from django.db import models
from django.utils import timezone


class OutboxMail(models.Model):
    """One mail. The body is blanked once sent when it held a sign-in code."""

    class State(models.TextChoices):
        WAITING = "waiting"
        SENT = "sent"
        FAILED = "failed"
        DROPPED = "dropped"  # written for an address nobody has, so that both cases look alike

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    to = models.EmailField()
    subject = models.CharField(max_length=200)
    body = models.TextField()
    secret = models.BooleanField(default=False)
    state = models.CharField(max_length=8, choices=State, default=State.WAITING)
    attempts = models.PositiveSmallIntegerField(default=0)
    reason = models.TextField(blank=True)
    created_at = models.DateTimeField(default=timezone.now)
    sent_at = models.DateTimeField(null=True)
