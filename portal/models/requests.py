"""What people ask of a club about their data, with its due date; and what was told beforehand."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING

from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from portal.models.people import Membership

if TYPE_CHECKING:
    from portal.models.people import User


class PersonRequestQuerySet(models.QuerySet["PersonRequest"]):
    def made_by(self, user: User) -> PersonRequestQuerySet:
        """What the user asked for."""
        return self.filter(user=user) if user.pk else self.none()

    def managed_by(self, user: User) -> PersonRequestQuerySet:
        """What was asked of the clubs that the user administers."""
        admin = Membership.objects.current().filter(user_id=user.pk, role=Membership.Role.ADMIN)
        return self.filter(club_id__in=admin.values("club_id"))

    def open(self) -> PersonRequestQuerySet:
        """Not yet done, refused or taken back."""
        return self.filter(state__in=PersonRequest.OPEN_STATES)


class PersonRequest(models.Model):
    """A wish of a person in footage: erase, take along, keep longer, delete now, correct.

    `subject_kind` and `subject_id` say what it is about (a swimmer, a swim); they outlive the
    person's rows. The club answers within a month (`due_at`).
    """

    class Kind(models.TextChoices):
        ERASE = "erase", _("erase all that is mine")
        TAKE_ALONG = "take-along", _("take my data along")
        KEEP_LONGER = "keep-longer", _("keep a swim longer")
        DELETE_NOW = "delete-now", _("delete a swim now")
        OTHER = "other", _("something else")

    class State(models.TextChoices):
        OPEN = "open", _("open")
        WAITING = "waiting", _("waits for its day")  # an erasure within its cooling period
        RUNNING = "running", _("being done")
        DONE = "done", _("done")
        REFUSED = "refused", _("refused, with a reason")
        TAKEN_BACK = "taken-back", _("taken back")

    OPEN_STATES = (State.OPEN, State.WAITING, State.RUNNING)

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    kind = models.CharField(max_length=12, choices=Kind)
    state = models.CharField(max_length=10, choices=State, default=State.OPEN)
    club = models.ForeignKey("portal.Club", models.CASCADE, related_name="requests")
    user = models.ForeignKey("portal.User", models.SET_NULL, null=True, related_name="requests")
    subject_kind = models.CharField(max_length=60)
    subject_id = models.UUIDField()
    words = models.CharField(max_length=1000, blank=True)
    made_at = models.DateTimeField(default=timezone.now)
    due_at = models.DateTimeField()
    act_at = models.DateTimeField(null=True)  # an erasure begins then
    answered_at = models.DateTimeField(null=True)
    answered_by = models.ForeignKey("portal.User", models.SET_NULL, null=True, related_name="+")
    answer = models.CharField(max_length=1000, blank=True)
    # what an erasure deleted and how each was checked; no names, no addresses
    certificate = models.JSONField(default=dict, blank=True)
    stored = models.ForeignKey("portal.StoredFile", models.SET_NULL, null=True, related_name="+")
    fetched_at = models.DateTimeField(null=True)

    objects = PersonRequestQuerySet.as_manager()

    class Meta:
        ordering = ["due_at"]
        indexes = [
            models.Index(fields=["club", "state", "due_at"]),
            models.Index(fields=["subject_kind", "subject_id", "state"]),
        ]


class DueWarning(models.Model):
    """That somebody was told beforehand that something goes: once per date and distance."""

    subject_kind = models.CharField(max_length=60)
    subject_id = models.UUIDField()
    delete_by = models.DateTimeField()
    days_before = models.PositiveSmallIntegerField()
    told_at = models.DateTimeField(default=timezone.now)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["subject_kind", "subject_id", "delete_by", "days_before"],
                name="due_warning_once",
            )
        ]
