"""What each swimmer agreed to. For now an admin records it; signing comes later."""

from __future__ import annotations

import uuid

from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy as _


class Consent(models.Model):
    """One purpose that a swimmer agreed to, from when until when. History stays."""

    class Purpose(models.TextChoices):
        FILM_AND_REVIEW = (
            "film-and-review",
            _("to be filmed, and the club's coaches review it"),
        )

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    swimmer = models.ForeignKey("clinics.Swimmer", models.CASCADE, related_name="consents")
    purpose = models.CharField(max_length=24, choices=Purpose)
    given_at = models.DateTimeField(default=timezone.now)
    ended_at = models.DateTimeField(null=True, blank=True)
    method = models.CharField(max_length=40, default="recorded by an admin")
    recorded_by = models.ForeignKey(
        "portal.User", models.SET_NULL, null=True, related_name="consents_recorded"
    )

    class Meta:
        ordering = ["given_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["swimmer", "purpose"],
                condition=models.Q(ended_at__isnull=True),
                name="consent_one_current_per_purpose",
            )
        ]
