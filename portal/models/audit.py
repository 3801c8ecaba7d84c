"""The audit trail's rows. Written only by `portal.actions.audit`."""

from __future__ import annotations

from django.db import models
from django.utils import timezone


class AuditEntry(models.Model):
    """One link of the chain. `text` is the canonical JSON that `mac` covers."""

    seq = models.PositiveBigIntegerField(primary_key=True)
    at = models.DateTimeField(default=timezone.now)
    action = models.CharField(max_length=60)
    actor_id = models.UUIDField(null=True)  # pseudonymous: the row outlives the person
    club_id = models.UUIDField(null=True)
    subject_kind = models.CharField(max_length=60, blank=True)
    subject_id = models.CharField(max_length=64, blank=True)
    text = models.TextField()
    mac = models.CharField(max_length=64)

    class Meta:
        ordering = ["seq"]
        indexes = [
            models.Index(fields=["subject_kind", "subject_id"]),
            models.Index(fields=["club_id", "at"]),
            models.Index(fields=["actor_id", "at"]),
        ]
