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

    def measured_by(self, user: User) -> RecordingQuerySet:
        """Recordings whose clock's figures the user may see, without footage."""
        return privacy.recordings_measured_by(self, user)  # type: ignore[return-value]


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
    # the sound for aligning: mono, 8 kHz, int16 little-endian, sample k at media_s = k / 8000
    sound_track = models.ForeignKey(
        "portal.StoredFile", models.SET_NULL, null=True, related_name="+"
    )
    # how much moves in picture at each key frame (clinics/media/motion.py)
    motion = models.ForeignKey("portal.StoredFile", models.SET_NULL, null=True, related_name="+")
    contact_strip = models.ForeignKey(
        "portal.StoredFile", models.SET_NULL, null=True, related_name="+"
    )
    # how the contact strip is laid out, and which frames it shows: columns, still_width,
    # still_height, frames
    contact_layout = models.JSONField(default=dict, blank=True)
    notes = models.JSONField(default=list, blank=True)  # sentences for who brought it in
    # how many media seconds the camera made of one second: 1, or e.g. 4 for stretched slow motion
    slow_motion = models.FloatField(default=1.0)
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
            models.CheckConstraint(
                condition=models.Q(slow_motion__gte=1) & models.Q(slow_motion__lte=40),
                name="recording_slow_motion_1_to_40",
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
    clinic instant = zero_at + media_s * (1 + rate_ppm * 1e-6).

    `rate_ppm` is of the recording as it lies there: of slow motion stretched four times it is
    about -750,000. `camera_ppm` is the camera's own clock. `u_ms` is the largest standard
    uncertainty over the recording, the other three say it at its begin, middle and end, all
    relative to the clinic's other recordings. `false_match_p`: how probable a match as good as
    this one is by chance, from shuffled start logs; None where nothing was matched by itself.
    `candidates`: the places that fit about as well, best first, when it could not be decided:
    zero_at (ISO), matched, of, false_match_p.
    """

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
    u_begin_ms = models.FloatField(null=True)
    u_mid_ms = models.FloatField(null=True)
    u_end_ms = models.FloatField(null=True)
    false_match_p = models.FloatField(null=True)
    candidates = models.JSONField(default=list, blank=True)
    method = models.CharField(max_length=40, blank=True)  # starts, ties, passing, file date, …
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

    @property
    def camera_ppm(self) -> float:
        """The camera's own clock, a stretch to slow motion taken out. Asks for the recording."""
        return ((1 + self.rate_ppm * 1e-6) * self.recording.slow_motion - 1) * 1e6


class ClinicClock(models.Model):
    """What one fit of all recordings of a clinic found out about the clinic as a whole.

    `taps_late_ms`: how late taps are as a whole, only known with a slate (or a known instant).
    `signal`: of the start signal as it was learned: hz, length_s, learned_from (recording id),
    agreeing, of. `notes`: sentences for a person.
    """

    clinic = models.OneToOneField(
        "clinics.Clinic", models.CASCADE, primary_key=True, related_name="clock"
    )
    taps_late_ms = models.FloatField(null=True)
    taps_late_u_ms = models.FloatField(null=True)
    signal = models.JSONField(default=dict, blank=True)
    notes = models.JSONField(default=list, blank=True)
    fitted_at = models.DateTimeField(default=timezone.now)


class HeardStart(models.Model):
    """A start signal that was heard and stands in no start log: a swim is proposed from it.

    `entry` is the swimmer that a person chose, or null for whoever follows in running order.
    """

    class State(models.TextChoices):
        PROPOSED = "proposed", _("proposed")
        TAKEN = "taken", _("taken as a start")
        DISMISSED = "dismissed", _("no start")

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    clinic = models.ForeignKey("clinics.Clinic", models.CASCADE, related_name="heard_starts")
    instant = models.DateTimeField()
    u_ms = models.FloatField()
    heard_by = models.PositiveSmallIntegerField(default=1)  # how many recordings hear it
    score = models.FloatField(default=0.0)  # how alike the learned signal it is, 0 to 1
    state = models.CharField(max_length=9, choices=State, default=State.PROPOSED)
    entry = models.ForeignKey("clinics.Entry", models.CASCADE, null=True, related_name="+")
    log_entry = models.OneToOneField(
        "clinics.StartLogEntry", models.SET_NULL, null=True, related_name="heard_start"
    )

    class Meta:
        ordering = ["instant"]


class DroppedSpan(models.Model):
    """A span of a recording that nobody sees: somebody swam who did not agree to be filmed.

    Media time in ticks, half open. No clip, still or strip is made from it, and no page shows it.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    recording = models.ForeignKey(Recording, models.CASCADE, related_name="dropped_spans")
    from_ticks = models.BigIntegerField()
    to_ticks = models.BigIntegerField()
    log_entry = models.ForeignKey(
        "clinics.StartLogEntry", models.CASCADE, null=True, related_name="dropped_spans"
    )

    class Meta:
        ordering = ["from_ticks"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(from_ticks__lt=models.F("to_ticks")),
                name="dropped_span_from_before_to",
            )
        ]


class Tie(models.Model):
    """One piece of evidence for a clock fit: this frame shows that instant.

    Anchored to the frame's PTS (`pts_ticks`, 1/90000 s of media time), as all that a person
    places. `instant` is clinic time at the camera; for a start, the swim's start instant is
    asked anew at each fit, so that a better start moves the fit and not the tie. `same-moment`
    says that the frame shows or hears what another recording has at `other_ticks`; `passing`
    that the swim goes by this station here, as is expected `expected_swim_s` after its start.

    What a person places (`found_by` person) is never moved; the rest is found anew by each fit.
    """

    class Kind(models.TextChoices):
        START_SEEN = "start-seen", _("start of a swim, seen")
        START_HEARD = "start-heard", _("start signal, heard")
        INSTANT = "instant", _("a known instant")
        SLATE_SEEN = "slate-seen", _("slate, seen")
        SLATE_HEARD = "slate-heard", _("slate, heard")
        SAME_MOMENT = "same-moment", _("the same moment in another recording")
        PASSING = "passing", _("a swimmer passing")

    class FoundBy(models.TextChoices):
        PERSON = "person", _("a person")
        SOUND = "sound", _("the start signals in its sound")
        SLATE = "slate", _("a slate in it")
        MOTION = "motion", _("what moves in it")
        CORRELATION = "correlation", _("its whole sound")

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    recording = models.ForeignKey(Recording, models.CASCADE, related_name="ties")
    kind = models.CharField(max_length=12, choices=Kind)
    found_by = models.CharField(max_length=12, choices=FoundBy, default=FoundBy.PERSON)
    pts_ticks = models.BigIntegerField()
    swim = models.ForeignKey("clinics.Swim", models.CASCADE, null=True, related_name="ties")
    instant = models.DateTimeField(null=True)
    other_recording = models.ForeignKey(
        Recording, models.CASCADE, null=True, related_name="ties_from_others"
    )
    other_ticks = models.BigIntegerField(null=True)
    expected_swim_s = models.FloatField(null=True)
    score = models.FloatField(null=True)  # how well it was found, 0 to 1
    u_ms = models.FloatField()
    residual_ms = models.FloatField(null=True)
    set_aside = models.CharField(max_length=200, blank=True)  # why it does not count
    placed_by = models.ForeignKey("portal.User", models.SET_NULL, null=True, related_name="+")
    placed_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["pts_ticks"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(swim__isnull=False)
                | models.Q(instant__isnull=False)
                | (models.Q(other_recording__isnull=False) & models.Q(other_ticks__isnull=False)),
                name="tie_says_what_it_shows",
            ),
            models.UniqueConstraint(
                fields=["recording", "swim", "kind", "found_by"],
                condition=models.Q(swim__isnull=False) & ~models.Q(kind="passing"),
                name="tie_once_per_swim_and_finder",
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
