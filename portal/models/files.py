"""Files on disk, and holds that keep something from being deleted."""

from __future__ import annotations

import uuid
from pathlib import Path

from django.conf import settings
from django.core.files.storage import default_storage
from django.db import models
from django.utils import timezone


class StoredFile(models.Model):
    """A file with its size, checksum, the rule that keeps it and its delete-by date.

    Originals live on local disk, since ffmpeg needs real files; everything else lies
    behind Django's storage. `name` is made by the server and holds only UUIDs.
    """

    class Area(models.TextChoices):
        ORIGINALS = "originals"
        MEDIA = "media"

    class State(models.TextChoices):
        READY = "ready"
        DELETED = "deleted"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    club = models.ForeignKey("portal.Club", models.PROTECT, related_name="files")
    area = models.CharField(max_length=12, choices=Area)
    kind = models.CharField(max_length=24)  # original, video, sound, poster, strip, frame-table, …
    name = models.CharField(max_length=200, unique=True)
    content_type = models.CharField(max_length=80, default="application/octet-stream")
    size_bytes = models.PositiveBigIntegerField()
    sha256 = models.CharField(max_length=64, db_index=True)
    keeping_rule = models.CharField(max_length=40)
    delete_by = models.DateTimeField(null=True)
    state = models.CharField(max_length=8, choices=State, default=State.READY)
    created_at = models.DateTimeField(default=timezone.now)
    deleted_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=~models.Q(sha256=""),
                name="stored_file_has_checksum",
            ),
        ]
        indexes = [models.Index(fields=["state", "delete_by"])]

    def local_path(self) -> Path:
        """Where the file is on this machine's disk."""
        if self.area == self.Area.ORIGINALS:
            return Path(settings.ORIGINALS_DIR) / self.name
        return Path(default_storage.path(self.name))


class Hold(models.Model):
    """Keeps a subject from deletion, and from sight, until it is ended."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    subject_kind = models.CharField(max_length=60)
    subject_id = models.UUIDField()
    reason = models.CharField(max_length=400)
    owner = models.ForeignKey("portal.User", models.PROTECT, related_name="holds")
    review_on = models.DateField()
    created_at = models.DateTimeField(default=timezone.now)
    ended_at = models.DateTimeField(null=True)

    class Meta:
        indexes = [models.Index(fields=["subject_kind", "subject_id", "ended_at"])]
