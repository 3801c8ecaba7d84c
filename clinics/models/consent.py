"""What swimmers are asked, what each answered, and what they agree to now. History stays."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING

from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from clinics import privacy_plans as privacy

if TYPE_CHECKING:
    from portal.models import User


class Purpose(models.TextChoices):
    FILM_AND_REVIEW = "film-and-review", _("to be filmed, and the club's coaches review it")
    SHOW_TO_GROUP = "show-to-group", _("shown to the other swimmers of the same clinic")
    COUNT_AMONG_GROUP = (
        "count-among-group",
        _("measures counted, without a name, among those of the clinic's swimmers"),
    )
    COACH_EDUCATION = "coach-education", _("shown to coaches of other clubs, for learning")
    PUBLISH = "publish", _("published for anyone, clip by clip")


class ConsentText(models.Model):
    """A published text, in one language. It never changes: editing makes the next version.

    A version of a purpose is published in all its languages at once. `ask_again`: who agreed
    to an earlier version is asked again; what they agreed to stays in force until they answer.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    club = models.ForeignKey("portal.Club", models.PROTECT, related_name="consent_texts")
    purpose = models.CharField(max_length=24, choices=Purpose)
    version = models.PositiveIntegerField()
    language = models.CharField(max_length=8)
    text = models.TextField()
    text_sha256 = models.CharField(max_length=64)
    ask_again = models.BooleanField(default=False)
    published_at = models.DateTimeField(default=timezone.now)
    published_by = models.ForeignKey("portal.User", models.SET_NULL, null=True, related_name="+")

    class Meta:
        ordering = ["purpose", "-version", "language"]
        constraints = [
            models.UniqueConstraint(
                fields=["club", "purpose", "version", "language"], name="consent_text_once"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_purpose_display()}, version {self.version}"


class Consent(models.Model):
    """One answer of a swimmer for one purpose.

    In force is what was agreed to and has not ended. A refusal ends the instant it is given,
    so that nothing that asks for consents in force has to know of refusals.
    """

    Purpose = Purpose

    class Choice(models.TextChoices):
        AGREES = "agrees", _("agrees")
        REFUSES = "refuses", _("does not agree")

    class Method(models.TextChoices):
        ADMIN = "recorded by an admin", _("said so, recorded by an admin")
        ACCOUNT = "account", _("on the own account")
        LINK = "link", _("by a personal link")
        PAPER = "paper", _("on paper")
        POOL = "pool", _("at the pool, on a phone of the crew")

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    swimmer = models.ForeignKey("clinics.Swimmer", models.CASCADE, related_name="consents")
    purpose = models.CharField(max_length=24, choices=Purpose)
    choice = models.CharField(max_length=8, choices=Choice, default=Choice.AGREES)
    given_at = models.DateTimeField(default=timezone.now)
    ended_at = models.DateTimeField(null=True, blank=True)
    method = models.CharField(max_length=40, choices=Method, default=Method.ADMIN)
    recorded_by = models.ForeignKey(
        "portal.User", models.SET_NULL, null=True, related_name="consents_recorded"
    )
    # what was shown then; null only for answers from before there were texts
    text = models.ForeignKey(ConsentText, models.PROTECT, null=True, related_name="answers")
    # who stood in it then: club, controller, address, contact, checkers, team
    names = models.JSONField(default=dict, blank=True)
    clinic = models.ForeignKey("clinics.Clinic", models.SET_NULL, null=True, related_name="+")
    sheet = models.ForeignKey("portal.StoredFile", models.SET_NULL, null=True, related_name="+")
    client_id = models.CharField(max_length=64, blank=True)  # sent twice changes nothing

    class Meta:
        ordering = ["given_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["swimmer", "purpose"],
                condition=models.Q(ended_at__isnull=True),
                name="consent_one_current_per_purpose",
            ),
            models.UniqueConstraint(
                fields=["swimmer", "purpose", "client_id"],
                condition=~models.Q(client_id=""),
                name="consent_sent_once",
            ),
            models.CheckConstraint(
                condition=models.Q(choice="agrees") | models.Q(ended_at__isnull=False),
                name="consent_refused_is_not_in_force",
            ),
        ]


class ConsentRequest(models.Model):
    """A personal link with which one swimmer answers, without an account. Shows no footage."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    swimmer = models.ForeignKey("clinics.Swimmer", models.CASCADE, related_name="consent_requests")
    clinic = models.ForeignKey("clinics.Clinic", models.CASCADE, null=True, related_name="+")
    token_hash = models.CharField(max_length=64, unique=True)
    asked_at = models.DateTimeField(default=timezone.now)
    asked_by = models.ForeignKey("portal.User", models.SET_NULL, null=True, related_name="+")
    expires_at = models.DateTimeField()
    answered_at = models.DateTimeField(null=True)
    ended_at = models.DateTimeField(null=True)  # taken back, or replaced by a later link
    mailed_at = models.DateTimeField(null=True)

    class Meta:
        ordering = ["-asked_at"]


class ClubRulesQuerySet(models.QuerySet["ClubRules"]):
    def managed_by(self, user: User) -> ClubRulesQuerySet:
        """Rules of the clubs that the user administers."""
        return privacy.rules_managed_by(self, user)  # type: ignore[return-value]


class ClubRules(models.Model):
    """What a club decided about keeping and asking. A club without a row has the defaults."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    club = models.OneToOneField("portal.Club", models.CASCADE, related_name="rules")
    controller_name = models.CharField(_("who answers for the data"), max_length=200, blank=True)
    controller_address = models.TextField(_("postal address"), max_length=600, blank=True)
    clips_after_next_days = models.PositiveIntegerField(
        _("clips: days after the swimmer's next clinic"), default=31
    )
    clips_at_most_months = models.PositiveIntegerField(_("clips: at most, months"), default=18)
    measures_months = models.PositiveIntegerField(
        _("comments, measures and take-home pages: months"), default=36
    )
    originals_days = models.PositiveIntegerField(
        _("originals: days after the clinic is closed"), default=30
    )
    not_given_days = models.PositiveIntegerField(
        _("what was never given to its swimmer: days after the clinic"), default=60
    )
    upload_parts_days = models.PositiveIntegerField(_("parts of uploads: days"), default=7)
    erase_after_days = models.PositiveIntegerField(
        _("days between a wish to be erased and the deletion"), default=7
    )
    updated_at = models.DateTimeField(default=timezone.now)
    updated_by = models.ForeignKey("portal.User", models.SET_NULL, null=True, related_name="+")

    objects = ClubRulesQuerySet.as_manager()

    class Meta:
        verbose_name_plural = "club rules"
