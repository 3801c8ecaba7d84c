"""Recordings as they came in, their files, and how their clocks map to clinic time."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING

from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from clinics import privacy

if TYPE_CHECKING:
    from portal.models import User


class RecordingQuerySet(models.QuerySet["Recording"]):
    def handled_by(self, user: User) -> RecordingQuerySet:
        """Recordings that the user checks, or brought in and whose clinic is not yet checked."""
        return privacy.recordings_handled_by(self, user)  # type: ignore[return-value]


class Recording(models.Model):
    """One unbroken take by one camera, from one or more files in order.

    `media_s` runs over the take from its first presented frame; ticks are 1/90000 s of it.
    The row outlives its deleted files.
    """

    class State(models.TextChoices):
        WAITING = "waiting", _("waiting")
        INDEXING = "indexing", _("being read")
        READY = "ready", _("ready")
        FAILED = "failed", _("could not be read")

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    station = models.ForeignKey("clinics.Station", models.PROTECT, related_name="recordings")
    camera = models.ForeignKey("clinics.Camera", models.PROTECT, related_name="recordings")
    order = models.PositiveIntegerField()  # of this camera's takes, by name and date
    state = models.CharField(max_length=8, choices=State, default=State.WAITING)
    reason = models.TextField(blank=True)  # why it failed, for a person
    duration_s = models.FloatField(null=True)
    frame_count = models.PositiveIntegerField(null=True)
    nominal_fps = models.FloatField(null=True)  # of pictures as shown: fields for interlaced
    width = models.PositiveIntegerField(null=True)
    height = models.PositiveIntegerField(null=True)
    has_sound = models.BooleanField(default=False)
    file_date = models.DateTimeField(null=True)  # as the camera wrote it; may be wrong by hours
    frame_table = models.ForeignKey(
        "portal.StoredFile", models.SET_NULL, null=True, related_name="+"
    )
    sound_envelope = models.ForeignKey(
        "portal.StoredFile", models.SET_NULL, null=True, related_name="+"
    )
    contact_strip = models.ForeignKey(
        "portal.StoredFile", models.SET_NULL, null=True, related_name="+"
    )
    # how the contact strip is laid out, and which frames it shows: columns, still_width,
    # still_height, frames
    contact_layout = models.JSONField(default=dict, blank=True)
    notes = models.JSONField(default=list, blank=True)  # sentences for who brought it in
    brought_in_by = models.ForeignKey(
        "portal.User", models.SET_NULL, null=True, related_name="recordings"
    )
    brought_in_at = models.DateTimeField(default=timezone.now)

    objects = RecordingQuerySet.as_manager()

    class Meta:
        ordering = ["station__order", "camera__name", "order"]
        constraints = [
            models.UniqueConstraint(fields=["camera", "order"], name="recording_order_once"),
            models.CheckConstraint(
                condition=~models.Q(state="ready")
                | (models.Q(frame_count__isnull=False) & models.Q(duration_s__isnull=False)),
                name="recording_ready_is_indexed",
            ),
        ]


class SourceFile(models.Model):
    """One file of a recording, in order. `name` is as the camera named it, shown escaped."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    recording = models.ForeignKey(Recording, models.CASCADE, related_name="files")
    order = models.PositiveIntegerField()
    name = models.CharField(max_length=300)
    sha256 = models.CharField(max_length=64)
    size_bytes = models.PositiveBigIntegerField()
    stored = models.ForeignKey("portal.StoredFile", models.PROTECT, related_name="+")
    facts = models.JSONField(default=dict)
    verified_at = models.DateTimeField(null=True)  # checksum of the stored file read back

    class Meta:
        ordering = ["order"]
        constraints = [
            models.UniqueConstraint(fields=["recording", "order"], name="source_file_order_once")
        ]


class ClockFit(models.Model):
    """How a recording's own time maps to clinic time:
    clinic instant = zero_at + media_s * (1 + rate_ppm * 1e-6)."""

    class State(models.TextChoices):
        SURE = "sure", _("sure")
        LOOK = "look", _("needs a look")
        NOT_FOUND = "not-found", _("not found")

    recording = models.OneToOneField(
        Recording, models.CASCADE, primary_key=True, related_name="clock_fit"
    )
    zero_at = models.DateTimeField(null=True)
    rate_ppm = models.FloatField(default=0.0)
    u_ms = models.FloatField(null=True)
    state = models.CharField(max_length=10, choices=State, default=State.NOT_FOUND)
    method = models.CharField(max_length=40, blank=True)  # ties, file date, none
    tie_count = models.PositiveIntegerField(default=0)
    reason = models.CharField(max_length=300, blank=True)  # why it is not sure, for a person
    fitted_at = models.DateTimeField(default=timezone.now)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(state="not-found")
                | (models.Q(zero_at__isnull=False) & models.Q(u_ms__isnull=False)),
                name="clock_fit_found_has_numbers",
            )
        ]


class Tie(models.Model):
    """One piece of evidence for a clock fit: this frame shows that instant.

    Anchored to the frame's PTS (`pts_ticks`, 1/90000 s of media time), as all that a person
    places. `instant` is clinic time at the camera; for a start, the swim's start instant is
    asked anew at each fit, so that a better start moves the fit and not the tie.
    """

    class Kind(models.TextChoices):
        START_SEEN = "start-seen", _("start of a swim, seen")
        START_HEARD = "start-heard", _("start signal, heard")
        INSTANT = "instant", _("a known instant")

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    recording = models.ForeignKey(Recording, models.CASCADE, related_name="ties")
    kind = models.CharField(max_length=12, choices=Kind)
    pts_ticks = models.BigIntegerField()
    swim = models.ForeignKey("clinics.Swim", models.CASCADE, null=True, related_name="ties")
    instant = models.DateTimeField(null=True)
    u_ms = models.FloatField()
    residual_ms = models.FloatField(null=True)
    set_aside = models.CharField(max_length=200, blank=True)  # why it does not count
    placed_by = models.ForeignKey("portal.User", models.SET_NULL, null=True, related_name="+")
    placed_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["pts_ticks"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(swim__isnull=False) | models.Q(instant__isnull=False),
                name="tie_has_swim_or_instant",
            ),
            models.UniqueConstraint(
                fields=["recording", "swim", "kind"],
                condition=models.Q(swim__isnull=False),
                name="tie_once_per_swim",
            ),
        ]


class UploadQuerySet(models.QuerySet["Upload"]):
    def owned_by(self, user: User) -> UploadQuerySet:
        return self.filter(owner=user)


class Upload(models.Model):
    """One resumable upload (tus 1.0.0). Its bytes lie in a part file named by the id."""

    class State(models.TextChoices):
        OPEN = "open"
        COMPLETE = "complete"  # all bytes are here; a job takes it in
        TAKEN = "taken"  # it is a source file now
        REFUSED = "refused"
        ENDED = "ended"  # terminated or expired

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    station = models.ForeignKey("clinics.Station", models.CASCADE, related_name="uploads")
    camera_name = models.CharField(max_length=80, blank=True)
    owner = models.ForeignKey("portal.User", models.CASCADE, related_name="uploads")
    card = models.UUIDField(null=True, db_index=True)  # files dropped together: one memory card
    card_files = models.PositiveIntegerField(default=1)  # how many files that card was said to have
    tus_metadata = models.TextField(blank=True)  # as the client sent it; HEAD must say it again
    name = models.CharField(max_length=300)
    size_bytes = models.PositiveBigIntegerField()
    offset_bytes = models.PositiveBigIntegerField(default=0)
    modified_at = models.DateTimeField(null=True)  # the file's own date, as the browser says
    sha256_expected = models.CharField(max_length=64, blank=True)
    sha256 = models.CharField(max_length=64, blank=True)
    state = models.CharField(max_length=8, choices=State, default=State.OPEN)
    reason = models.TextField(blank=True)
    recording = models.ForeignKey(Recording, models.SET_NULL, null=True, related_name="uploads")
    created_at = models.DateTimeField(default=timezone.now)
    expires_at = models.DateTimeField()

    objects = UploadQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(offset_bytes__lte=models.F("size_bytes")),
                name="upload_offset_within_size",
            )
        ]
