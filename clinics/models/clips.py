"""Clips: one pass of a swim at a station, and the files made from it."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING

from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from clinics import privacy

if TYPE_CHECKING:
    from portal.models import User


class ClipQuerySet(models.QuerySet["Clip"]):
    def visible_to(self, user: User) -> ClipQuerySet:
        """Clips that the user may see (clinics/privacy.py)."""
        return privacy.clips_visible_to(self, user)  # type: ignore[return-value]

    def handled_by(self, user: User) -> ClipQuerySet:
        """Clips that the user checks before anyone else sees them."""
        return privacy.clips_handled_by(self, user)  # type: ignore[return-value]


class Clip(models.Model):
    """A span of one recording. Its frame n is frame `first_frame` + n of the recording.

    `in_ticks` and `out_ticks` are media time of the recording in 1/90000 s, half open;
    `seen_from_s` and `seen_to_s` (swim_s) are when the swimmer is expected in picture.
    """

    class State(models.TextChoices):
        WAITING = "waiting", _("waiting")
        RENDERING = "rendering", _("being made")
        READY = "ready", _("ready")
        FAILED = "failed", _("failed")

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    swim = models.ForeignKey("clinics.Swim", models.CASCADE, related_name="clips")
    station = models.ForeignKey("clinics.Station", models.PROTECT, related_name="clips")
    pass_no = models.PositiveSmallIntegerField()
    recording = models.ForeignKey("clinics.Recording", models.PROTECT, related_name="clips")
    in_ticks = models.BigIntegerField()
    out_ticks = models.BigIntegerField()
    first_frame = models.PositiveIntegerField()
    frame_count = models.PositiveIntegerField()
    seen_from_s = models.FloatField()
    seen_to_s = models.FloatField()
    time_state = models.CharField(max_length=10)  # of the clock fit it was cut by
    state = models.CharField(max_length=10, choices=State, default=State.WAITING)
    reason = models.TextField(blank=True)
    window_by = models.CharField(max_length=16, default="pace")  # station, pace, person
    delete_by = models.DateTimeField(null=True)
    created_at = models.DateTimeField(default=timezone.now)
    rendered_at = models.DateTimeField(null=True)

    objects = ClipQuerySet.as_manager()

    class Meta:
        ordering = ["swim__start_at", "station__order", "pass_no"]
        constraints = [
            models.UniqueConstraint(
                fields=["swim", "station", "pass_no", "recording"],
                name="clip_pass_once",
            ),
            models.CheckConstraint(
                condition=models.Q(in_ticks__lt=models.F("out_ticks")),
                name="clip_in_before_out",
            ),
            models.CheckConstraint(condition=models.Q(frame_count__gte=1), name="clip_has_frames"),
        ]


class ClipFileQuerySet(models.QuerySet["ClipFile"]):
    def visible_to(self, user: User) -> ClipFileQuerySet:
        """Files of clips that the user may see, sound only where the clinic lets it."""
        return privacy.clip_files_visible_to(self, user)  # type: ignore[return-value]

    def handled_by(self, user: User) -> ClipFileQuerySet:
        return privacy.clip_files_handled_by(self, user)  # type: ignore[return-value]


class ClipFile(models.Model):
    """A file made from a clip: a rendition, its sound, a still, a strip of stills."""

    class Kind(models.TextChoices):
        VIDEO = "video"
        SOUND = "sound"
        POSTER = "poster"
        STRIP = "strip"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    clip = models.ForeignKey(Clip, models.CASCADE, related_name="files")
    kind = models.CharField(max_length=8, choices=Kind)
    height = models.PositiveIntegerField(null=True)
    width = models.PositiveIntegerField(null=True)
    stored = models.ForeignKey("portal.StoredFile", models.PROTECT, related_name="+")
    # of a rendition: PTS of its frames and which are key frames, from its first frame
    pts_table = models.ForeignKey("portal.StoredFile", models.SET_NULL, null=True, related_name="+")
    starts_at_ticks = models.BigIntegerField(default=0)  # of a sound file, against the first frame

    objects = ClipFileQuerySet.as_manager()

    class Meta:
        ordering = ["kind", "-height"]
        constraints = [
            models.UniqueConstraint(fields=["clip", "kind", "height"], name="clip_file_once"),
        ]
