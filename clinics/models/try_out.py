"""A try-out of the kit the day before: two swimmers start once each, every station brings in a
short file, each is judged, and all footage goes within hours. None of it becomes a clip."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING

from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from clinics import privacy_try_out

if TYPE_CHECKING:
    from portal.models import User


class TryOutQuerySet(models.QuerySet["TryOut"]):
    def over(self) -> TryOutQuerySet:
        """Those whose footage and names are to go: their time is over, or one of their swimmers
        agrees no longer."""
        due = models.Q(delete_by__lte=timezone.now()) | privacy_try_out.against()
        return self.filter(due, gone_at__isnull=True)

    def held(self) -> TryOutQuerySet:
        """Kept from deletion by a hold on the clinic or a swimmer."""
        return self.filter(privacy_try_out.held())


class TryOut(models.Model):
    """One of a clinic. Who swims: somebody on the club's list, or a name written down, each said
    to be 18 or older and to have agreed. Once the footage has gone, with the names, what was
    found about the cameras stays."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    clinic = models.ForeignKey("clinics.Clinic", models.CASCADE, related_name="try_outs")
    first_swimmer = models.ForeignKey(
        "clinics.Swimmer", models.SET_NULL, null=True, related_name="+"
    )
    second_swimmer = models.ForeignKey(
        "clinics.Swimmer", models.SET_NULL, null=True, related_name="+"
    )
    first_name = models.CharField(max_length=120, blank=True)
    second_name = models.CharField(max_length=120, blank=True)
    begun_by = models.ForeignKey("portal.User", models.SET_NULL, null=True, related_name="+")
    begun_at = models.DateTimeField(default=timezone.now)  # and attested: adults, and asked
    # as tapped at the start signals, on the server's clock
    first_start_at = models.DateTimeField(null=True)
    second_start_at = models.DateTimeField(null=True)
    delete_by = models.DateTimeField()
    gone_at = models.DateTimeField(null=True)

    objects = TryOutQuerySet.as_manager()

    class Meta:
        ordering = ["-begun_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["clinic"],
                condition=models.Q(gone_at__isnull=True),
                name="try_out_one_at_a_time",
            ),
            models.CheckConstraint(
                condition=models.Q(gone_at__isnull=True)
                | models.Q(
                    first_name="",
                    second_name="",
                    first_swimmer__isnull=True,
                    second_swimmer__isnull=True,
                ),
                name="try_out_gone_without_names",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.clinic}, {self.begun_at:%Y-%m-%d %H:%M}"

    @property
    def gap_s(self) -> float | None:
        """Between the two taps; None until there are two."""
        if self.first_start_at is None or self.second_start_at is None:
            return None
        return (self.second_start_at - self.first_start_at).total_seconds()


class TryOutFileQuerySet(models.QuerySet["TryOutFile"]):
    def visible_to(self, user: User) -> TryOutFileQuerySet:
        """Whose stills the user may see (clinics/privacy_try_out.py)."""
        return privacy_try_out.files_seen_by(self, user, timezone.now())  # type: ignore[return-value]


class TryOutFile(models.Model):
    """What one camera filmed. `facts` are the container's (clinics/media/facts.py), `findings`
    what was judged: [{"check": …, "state": …, "numbers": {…}}, …] (clinics/compute/try_out.py)."""

    class State(models.TextChoices):
        WAITING = "waiting", _("waiting to be judged")
        JUDGED = "judged", _("judged")
        FAILED = "failed", _("cannot be used")

    class Frame(models.TextChoices):
        NOT_SAID = "", _("nobody has looked yet")
        RIGHT = "right", _("frame is right")
        WRONG = "wrong", _("frame is not right")

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    try_out = models.ForeignKey(TryOut, models.CASCADE, related_name="files")
    station = models.ForeignKey("clinics.Station", models.CASCADE, related_name="try_out_files")
    name = models.CharField(max_length=300)
    stored = models.ForeignKey("portal.StoredFile", models.SET_NULL, null=True, related_name="+")
    brought_by = models.ForeignKey("portal.User", models.SET_NULL, null=True, related_name="+")
    brought_at = models.DateTimeField(default=timezone.now)
    state = models.CharField(max_length=8, choices=State, default=State.WAITING)
    reason = models.TextField(blank=True)  # why it cannot be used, for a person
    facts = models.JSONField(default=dict)
    findings = models.JSONField(default=list)
    judged_at = models.DateTimeField(null=True)
    # what a person said of the frame on seeing the stills: level, covering, nobody cut off
    frame = models.CharField(max_length=5, choices=Frame, default=Frame.NOT_SAID, blank=True)
    frame_by = models.ForeignKey("portal.User", models.SET_NULL, null=True, related_name="+")

    objects = TryOutFileQuerySet.as_manager()

    class Meta:
        ordering = ["station__order", "brought_at"]

    def __str__(self) -> str:
        return f"{self.station}: {self.name}"


class TryOutStill(models.Model):
    """A picture of the file, for a person to judge its frame by."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    file = models.ForeignKey(TryOutFile, models.CASCADE, related_name="stills")
    stored = models.ForeignKey("portal.StoredFile", models.PROTECT, related_name="+")
    at_s = models.FloatField()

    class Meta:
        ordering = ["at_s"]
