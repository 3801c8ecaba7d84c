"""What is done before the day: dated tasks, things packed, cautions read."""

from __future__ import annotations

import uuid

from django.db import models
from django.utils import timezone


class ClinicTask(models.Model):
    """A task of a clinic that was moved, added, or done. Those of `tasks_ahead.TASKS` that are
    as they usually are have no row. Words of our own tasks stay empty here."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    clinic = models.ForeignKey("clinics.Clinic", models.CASCADE, related_name="tasks")
    key = models.SlugField(max_length=50)
    words = models.CharField(max_length=200, blank=True)
    days_before = models.SmallIntegerField(null=True)  # null: as usual
    for_role = models.CharField(max_length=8, blank=True)
    done_at = models.DateTimeField(null=True)
    done_by = models.ForeignKey("portal.User", models.SET_NULL, null=True, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["clinic", "key"], name="clinic_task_key_once")
        ]

    def __str__(self) -> str:
        return self.words or self.key


class KitTick(models.Model):
    """A line of a station's kit list that somebody ticked."""

    station = models.ForeignKey("clinics.Station", models.CASCADE, related_name="kit_ticks")
    key = models.SlugField(max_length=50)
    at = models.DateTimeField(default=timezone.now)
    by = models.ForeignKey("portal.User", models.SET_NULL, null=True, related_name="+")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["station", "key"], name="kit_tick_once")]


class CautionRead(models.Model):
    """A named person has read the cautions of one place (`topic`) at one clinic, in the version
    of which this is the hash: changed words must be read again. Nothing here says that
    something is safe."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    clinic = models.ForeignKey("clinics.Clinic", models.CASCADE, related_name="cautions_read")
    topic = models.SlugField(max_length=30)
    text_sha256 = models.CharField(max_length=64)
    user = models.ForeignKey("portal.User", models.CASCADE, related_name="+")
    name = models.CharField(max_length=120)  # as the person was called then
    at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["at"]
        constraints = [
            models.UniqueConstraint(
                fields=["clinic", "topic", "text_sha256", "user"], name="caution_read_once"
            )
        ]
