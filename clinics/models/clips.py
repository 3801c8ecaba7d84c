"""Clips: one pass of a swim at a station, and the files made from it."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING

from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from clinics import privacy

if TYPE_CHECKING:
    from clinics.models.shown import Share
    from portal.models import User


class ClipQuerySet(models.QuerySet["Clip"]):
    def visible_to(self, user: User) -> ClipQuerySet:
        """Clips that the user may see (clinics/privacy.py)."""
        return privacy.clips_visible_to(self, user)  # type: ignore[return-value]

    def on_shelf_for(self, user: User) -> ClipQuerySet:
        """Clips that a coach put up, for coaches of any club to learn from."""
        return privacy.clips_on_shelf_for(self, user)  # type: ignore[return-value]

    def published(self) -> ClipQuerySet:
        """Clips for anyone."""
        return privacy.clips_published(self)  # type: ignore[return-value]

    def shared_by(self, share: Share) -> ClipQuerySet:
        """Clips of the swim of a share link, while the link is open."""
        return privacy.clips_shared_by(self, share.pk)  # type: ignore[return-value]

    def in_question_for(self, user: User) -> ClipQuerySet:
        """Clips in which a minor was reported, for the clinic's checkers who look at that."""
        return privacy.clips_in_question_for(self, user)  # type: ignore[return-value]

    def handled_by(self, user: User) -> ClipQuerySet:
        """Clips that the user checks before anyone else sees them."""
        return privacy.clips_handled_by(self, user)  # type: ignore[return-value]


class Clip(models.Model):
    """A span of one recording. Its frame n is frame `first_frame` + n of the recording.

    `in_ticks` and `out_ticks` are media time of the recording in 1/90000 s, half open;
    `seen_from_s` and `seen_to_s` (swim_s) are when the swimmer is expected in picture, as far
    as the clip has it. `missing_before_s` and `missing_after_s` say how much of that span the
    clip lacks before and after it, and `missing_by` why.
    """

    class State(models.TextChoices):
        WAITING = "waiting", _("waiting")
        RENDERING = "rendering", _("being made")
        READY = "ready", _("ready")
        FAILED = "failed", _("failed")

    class MissingBy(models.TextChoices):
        RECORDING = "recording", _("the camera was not recording")
        DROPPED = "dropped", _("somebody swam who has not agreed to be filmed")

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
    window_by = models.CharField(max_length=16, default="pace")  # station, pace, motion, person
    seen_by = models.CharField(max_length=16, default="pace")  # the same, of the span in picture
    missing_before_s = models.FloatField(default=0.0)
    missing_after_s = models.FloatField(default=0.0)
    missing_by = models.CharField(max_length=9, choices=MissingBy, blank=True)
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

    @property
    def missing_s(self) -> float:
        """How much of the time in which the swimmer is expected in picture is not in it."""
        return self.missing_before_s + self.missing_after_s


class ClipFileQuerySet(models.QuerySet["ClipFile"]):
    def visible_to(self, user: User) -> ClipFileQuerySet:
        """Files of clips that the user may see, sound only where the clinic lets it."""
        return privacy.clip_files_visible_to(self, user)  # type: ignore[return-value]

    def published(self) -> ClipFileQuerySet:
        return privacy.clip_files_published(self)  # type: ignore[return-value]

    def shared_by(self, share: Share) -> ClipFileQuerySet:
        return privacy.clip_files_shared_by(self, share.pk)  # type: ignore[return-value]

    def in_question_for(self, user: User) -> ClipFileQuerySet:
        return privacy.clip_files_in_question_for(self, user)  # type: ignore[return-value]

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
    # of a rendition: which frame of the recording is its first, so that a narrower clip can be
    # made from it once the originals are gone; null: not known
    first_frame = models.PositiveIntegerField(null=True)

    objects = ClipFileQuerySet.as_manager()

    class Meta:
        ordering = ["kind", "-height"]
        constraints = [
            models.UniqueConstraint(fields=["clip", "kind", "height"], name="clip_file_once"),
        ]
