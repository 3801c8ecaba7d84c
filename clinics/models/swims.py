"""The start log, swims, and who can be recognised in them."""

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


class StartLogEntry(models.Model):
    """One line of the start log, as taken at the pool.

    `client_id` is made where the line is taken, so that sending it twice changes nothing.
    `clock_run` names the run of that phone's clock: a phone that restarts begins a new one.
    """

    class Outcome(models.TextChoices):
        AWAY = "away", _("away")
        NO_SHOW = "no-show", _("did not come")
        FALSE_START = "false-start", _("called back")
        NOT_FILMED = "not-filmed", _("away, not filmed")
        SKIPPED = "skipped", _("passed over for now")

    class Clock(models.TextChoices):
        SERVER = "server", _("as it arrived, or from a file")
        MEASURED = "measured", _("measured against the server")
        TIED = "tied", _("through another phone")
        BRIDGED = "bridged", _("by the phone's time of day")
        UNKNOWN = "unknown", _("not known how far off")

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    clinic = models.ForeignKey("clinics.Clinic", models.CASCADE, related_name="start_log")
    client_id = models.CharField(max_length=64)
    entry = models.ForeignKey("clinics.Entry", models.PROTECT, null=True, related_name="start_log")
    instant = models.DateTimeField()
    clock_run = models.CharField(max_length=64, default="file")
    outcome = models.CharField(max_length=12, choices=Outcome, default=Outcome.AWAY)
    note = models.CharField(max_length=400, blank=True)
    noted_ms = models.FloatField(
        null=True
    )  # when, by the phone's wall clock: the newest note holds
    logged_by = models.ForeignKey("portal.User", models.SET_NULL, null=True, related_name="+")
    received_at = models.DateTimeField(default=timezone.now)
    undone_at = models.DateTimeField(null=True)
    # As the phone had it: `instant` is computed from these, and again when more is known of its
    # clock. Null: the line is from a file, or was logged without a script.
    phone = models.ForeignKey("clinics.Phone", models.PROTECT, null=True, related_name="start_log")
    monotonic_ms = models.FloatField(null=True)
    wall_ms = models.FloatField(null=True)
    clock_state = models.CharField(max_length=8, choices=Clock, default=Clock.SERVER)
    clock_u_ms = models.FloatField(null=True)  # of the phone's clock alone; null: not known
    clock_doubtful = models.BooleanField(default=False)  # a step of its clock could not be decided
    # what the screen said of consent when it was tapped, and as of when that was known
    consent_shown = models.BooleanField(null=True)
    consent_known_at = models.DateTimeField(null=True)
    # A swim hangs on it, or did until somebody took that away: then none is made of it again.
    had_swim = models.BooleanField(default=False)

    class Meta:
        ordering = ["instant"]
        constraints = [
            models.UniqueConstraint(fields=["clinic", "client_id"], name="start_log_client_id_once")
        ]


class SwimQuerySet(models.QuerySet["Swim"]):
    def visible_to(self, user: User) -> SwimQuerySet:
        """Swims that the user may see (clinics/privacy.py): their film, and nothing said."""
        return privacy.swims_visible_to(self, user)  # type: ignore[return-value]

    def reviewed_by(self, user: User) -> SwimQuerySet:
        """Swims that are the user's own, or passed on to them as coach: with what is said."""
        return privacy.swims_reviewed_by(self, user)  # type: ignore[return-value]

    def shown_to_group(self, user: User) -> SwimQuerySet:
        """Swims of clinics that the user swam in, shown to the group."""
        return privacy.swims_shown_to_group(self, user)  # type: ignore[return-value]

    def shared_by(self, share: Share) -> SwimQuerySet:
        """The swim of a share link, while the link is open."""
        return privacy.swims_shared_by(self, share.pk)  # type: ignore[return-value]

    def handled_by(self, user: User) -> SwimQuerySet:
        """Swims that the user checks before anyone else sees them."""
        return privacy.swims_handled_by(self, user)  # type: ignore[return-value]

    def counted(self) -> SwimQuerySet:
        """Swims whose measures count, without a name, among those of the clinic's swimmers."""
        return privacy.swims_counted(self)  # type: ignore[return-value]

    def coached_by(self, user: User) -> SwimQuerySet:
        """Swims passed on to the user as coach, to comment on and give to their swimmers."""
        return privacy.swims_coached_by(self, user)  # type: ignore[return-value]


class Swim(models.Model):
    """An actual go of an entry through the circuit. `swim_s` zero is `start_at`."""

    class StartKind(models.TextChoices):
        HEARD = "heard", _("start signal as heard")
        TAP = "tap", _("as tapped in the start log")
        MARK = "mark", _("as marked on a frame")

    class Person(models.TextChoices):
        UNCONFIRMED = "unconfirmed", _("who is this?")
        CONFIRMED = "confirmed", _("confirmed")
        WRONG = "wrong", _("not this person")

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    entry = models.ForeignKey("clinics.Entry", models.PROTECT, related_name="swims")
    go = models.PositiveSmallIntegerField(default=1)
    log_entry = models.OneToOneField(StartLogEntry, models.PROTECT, null=True, related_name="swim")
    start_at = models.DateTimeField()
    start_kind = models.CharField(max_length=6, choices=StartKind, default=StartKind.TAP)
    start_u_ms = models.FloatField()
    person = models.CharField(max_length=12, choices=Person, default=Person.UNCONFIRMED)
    person_by = models.ForeignKey("portal.User", models.SET_NULL, null=True, related_name="+")
    person_at = models.DateTimeField(null=True)
    number_seen = models.PositiveIntegerField(null=True)  # on the card; null: known by face
    others_recorded_at = models.DateTimeField(null=True)  # "nobody" is recorded, too
    others_recorded_by = models.ForeignKey(
        "portal.User", models.SET_NULL, null=True, related_name="+"
    )
    passed_at = models.DateTimeField(null=True)
    passed_by = models.ForeignKey("portal.User", models.SET_NULL, null=True, related_name="+")
    given_at = models.DateTimeField(null=True)
    given_by = models.ForeignKey("portal.User", models.SET_NULL, null=True, related_name="+")
    delete_by = models.DateTimeField(null=True)
    # when its clips were deleted as the club's rules say: none are made again after that
    clips_gone_at = models.DateTimeField(null=True)

    objects = SwimQuerySet.as_manager()

    class Meta:
        ordering = ["start_at"]
        constraints = [
            models.UniqueConstraint(fields=["entry", "go"], name="swim_go_once"),
            models.CheckConstraint(
                condition=models.Q(start_u_ms__gte=0), name="swim_start_u_not_negative"
            ),
            models.CheckConstraint(
                condition=models.Q(passed_at__isnull=True)
                | (models.Q(others_recorded_at__isnull=False) & ~models.Q(person="unconfirmed")),
                name="swim_passed_only_after_check",
            ),
            models.CheckConstraint(
                condition=models.Q(given_at__isnull=True) | models.Q(passed_at__isnull=False),
                name="swim_given_only_after_passed",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.entry}, go {self.go}"


class ChosenStart(models.Model):
    """A coach counts a swim from the start signal as marked on a frame, and not as found.

    Anchored to the recording, as all that a person places: `ticks` is half a frame before that
    frame. Each fit of the clocks puts `start_at` there anew, and keeps here what it found itself,
    for going back. Without the recording the start stays where it is.
    """

    swim = models.OneToOneField(Swim, models.CASCADE, primary_key=True, related_name="chosen_start")
    recording = models.ForeignKey("clinics.Recording", models.SET_NULL, null=True, related_name="+")
    ticks = models.BigIntegerField()
    frame_u_ms = models.FloatField()
    found_at = models.DateTimeField()
    found_kind = models.CharField(max_length=6, choices=Swim.StartKind)
    found_u_ms = models.FloatField()
    chosen_by = models.ForeignKey("portal.User", models.SET_NULL, null=True, related_name="+")
    chosen_at = models.DateTimeField(default=timezone.now)


class Recognised(models.Model):
    """Somebody else who can be recognised in a swim's clips."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    swim = models.ForeignKey(Swim, models.CASCADE, related_name="recognised")
    swimmer = models.ForeignKey("clinics.Swimmer", models.CASCADE, related_name="recognised_in")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["swim", "swimmer"], name="recognised_once")]
