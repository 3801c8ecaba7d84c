"""Signing up for a clinic: the club's sheet, who signed up, and what only coaches read."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from clinics import privacy_notes as privacy
from clinics.models.plan import Entry

if TYPE_CHECKING:
    from portal.models import User


class SignUpSheet(models.Model):
    """One for each clinic that takes sign-ups. Its link is handed out to many (a poster, the
    club's mail), so it is no secret; a new one ends the old."""

    clinic = models.OneToOneField(
        "clinics.Clinic", models.CASCADE, primary_key=True, related_name="sign_up_sheet"
    )
    token = models.CharField(max_length=64, unique=True)
    is_open = models.BooleanField(default=False)
    places = models.PositiveSmallIntegerField(
        _("places"), default=40, validators=[MinValueValidator(1), MaxValueValidator(500)]
    )
    closes_at = models.DateTimeField(_("closes by itself"), null=True, blank=True)
    words = models.TextField(_("what swimmers should know"), max_length=1000, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(places__gte=1) & models.Q(places__lte=500),
                name="sign_up_places_1_to_500",
            )
        ]

    def __str__(self) -> str:
        return str(self.clinic)


class SignUpQuerySet(models.QuerySet["SignUp"]):
    def listed_for(self, user: User) -> SignUpQuerySet:
        """Those of clubs that the user administers, once they count. Not what is in the notes."""
        return privacy.sign_ups_listed_for(self, user)  # type: ignore[return-value]

    def own_of(self, user: User) -> SignUpQuerySet:
        """The user's own, by the account or by the address that both have proved."""
        return privacy.sign_ups_own_of(self, user)  # type: ignore[return-value]


class SignUp(models.Model):
    """Somebody signs up. It counts from `confirmed_at` on: what a stranger types for somebody
    else's address never does, and deletes itself. Waiting is in the order of that instant."""

    class State(models.TextChoices):
        TO_CONFIRM = "to-confirm", _("not confirmed yet")
        SIGNED_UP = "signed-up", _("has a place")
        WAITING = "waiting", _("on the waiting list")
        TAKEN_IN = "taken-in", _("in the running order")
        WITHDRAWN = "withdrawn", _("withdrew")
        DECLINED = "declined", _("declined")

    class Came(models.TextChoices):
        LINK = "link", _("by the form, confirmed by mail")
        ACCOUNT = "account", _("by the form, signed in")
        ADMIN = "admin", _("added by hand")

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    sheet = models.ForeignKey(SignUpSheet, models.CASCADE, related_name="sign_ups")
    user = models.ForeignKey(
        "portal.User", models.SET_NULL, null=True, blank=True, related_name="sign_ups"
    )
    # known from the account, or found and made when taken in
    swimmer = models.ForeignKey(
        "clinics.Swimmer", models.CASCADE, null=True, blank=True, related_name="sign_ups"
    )
    entry = models.OneToOneField(
        Entry, models.SET_NULL, null=True, blank=True, related_name="sign_up"
    )
    name = models.CharField(_("name"), max_length=120)
    email = models.EmailField(_("e-mail"), blank=True)  # lower case
    adult_attested_at = models.DateTimeField()  # nobody younger signs up
    stroke = models.CharField(_("stroke"), max_length=12, choices=Entry.Stroke)
    start = models.CharField(_("start"), max_length=6, choices=Entry.Start)
    pace_s_per_100m = models.FloatField(_("expected pace, seconds per 100 m"))
    language = models.CharField(max_length=8, default="en")
    state = models.CharField(max_length=10, choices=State, default=State.TO_CONFIRM)
    came = models.CharField(max_length=7, choices=Came)
    # {purpose: {"agrees", "version", "language", "names", "at"}}, put in force when taken in;
    # `names` are who stood in the text then
    answers = models.JSONField(default=dict, blank=True)
    client_id = models.CharField(max_length=64, blank=True)  # sent twice changes nothing
    made_at = models.DateTimeField(default=timezone.now)
    confirmed_at = models.DateTimeField(null=True, blank=True)

    objects = SignUpQuerySet.as_manager()

    class Meta:
        ordering = ["confirmed_at", "made_at"]
        indexes = [models.Index(fields=["email"])]
        constraints = [
            models.UniqueConstraint(
                fields=["sheet", "client_id"],
                condition=~models.Q(client_id=""),
                name="sign_up_sent_once",
            ),
            models.CheckConstraint(
                condition=models.Q(state="to-confirm") | models.Q(confirmed_at__isnull=False),
                name="sign_up_counts_once_confirmed",
            ),
            models.CheckConstraint(
                condition=models.Q(pace_s_per_100m__gte=40) & models.Q(pace_s_per_100m__lte=600),
                name="sign_up_pace_40_to_600",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class EntryNoteQuerySet(models.QuerySet["EntryNote"]):
    def visible_to(self, user: User) -> EntryNoteQuerySet:
        """For the coaches of this very clinic, and for who wrote it."""
        return privacy.notes_seen_by(self, user)  # type: ignore[return-value]


class EntryNote(models.Model):
    """What a swimmer tells the coaches of this clinic alone. A row for each sort, since injuries
    go when the clinic is closed, and a restore must not bring them back."""

    class Kind(models.TextChoices):
        LOOK_AT = "look-at", _("what coaches should look at")
        INJURIES = "injuries", _("injuries")

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    sign_up = models.ForeignKey(SignUp, models.CASCADE, related_name="notes")
    kind = models.CharField(max_length=8, choices=Kind)
    text = models.TextField(max_length=1000)
    written_at = models.DateTimeField(default=timezone.now)

    objects = EntryNoteQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["sign_up", "kind"], name="entry_note_once_of_a_kind")
        ]
