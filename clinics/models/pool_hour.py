"""The pool hour as planned, and what is wished for on the day. The timetable itself is computed
from these and the start log each time it is asked for (clinics/compute/rotation)."""

from __future__ import annotations

import datetime as dt
import uuid

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy as _


def _from_to(least: int, most: int) -> list[MinValueValidator | MaxValueValidator]:
    return [MinValueValidator(least), MaxValueValidator(most)]


class PoolHour(models.Model):
    """When the pool is the clinic's, and how long what takes. Defaults are those of
    `rotation.ClinicHour`; a clinic without this row has no timetable yet."""

    clinic = models.OneToOneField(
        "clinics.Clinic", models.CASCADE, primary_key=True, related_name="pool_hour"
    )
    begins = models.TimeField(_("the pool is yours from"))
    minutes = models.PositiveSmallIntegerField(
        _("for how many minutes"), default=60, validators=_from_to(1, 1440)
    )
    briefing_s = models.PositiveSmallIntegerField(
        _("briefing of a group, seconds"), default=60, validators=_from_to(0, 3600)
    )
    change_over_s = models.PositiveSmallIntegerField(
        _("change-over between groups, seconds"), default=30, validators=_from_to(0, 3600)
    )
    climbing_out_s = models.PositiveSmallIntegerField(
        _("climbing out, seconds"), default=10, validators=_from_to(0, 600)
    )
    reserve_s = models.PositiveIntegerField(
        _("kept back at the end, seconds"), default=0, validators=_from_to(0, 86400)
    )
    rest_s = models.PositiveIntegerField(
        _("rest before a second go, seconds"), default=180, validators=_from_to(0, 86400)
    )
    briefs_on_deck = models.BooleanField(
        _("the next group is briefed while the one before swims"), default=False
    )

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(minutes__gte=1) & models.Q(minutes__lte=1440),
                name="pool_hour_1_to_1440_min",
            )
        ]

    def __str__(self) -> str:
        return f"{self.clinic}, {self.begins:%H:%M}, {self.minutes} min"

    @property
    def begins_at(self) -> dt.datetime:
        """The instant, in the clinic's time zone."""
        return dt.datetime.combine(self.clinic.date, self.begins, tzinfo=self.clinic.zone)


class DayWish(models.Model):
    """Said on the day about one swimmer: comes late, or wishes to go a second time."""

    class Kind(models.TextChoices):
        LATE = "late", _("comes late")
        SECOND_GO = "second-go", _("second go")

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    entry = models.ForeignKey("clinics.Entry", models.CASCADE, related_name="day_wishes")
    kind = models.CharField(max_length=9, choices=Kind)
    from_at = models.DateTimeField(null=True, blank=True)  # late: briefed and ready from then on
    # made on the phone, so that sending twice changes nothing
    client_id = models.CharField(max_length=64)
    said_by = models.ForeignKey("portal.User", models.SET_NULL, null=True, related_name="+")
    said_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["said_at"]
        constraints = [
            models.UniqueConstraint(fields=["entry", "kind"], name="day_wish_once"),
            models.CheckConstraint(
                condition=~models.Q(kind="late") | models.Q(from_at__isnull=False),
                name="day_wish_late_says_when",
            ),
        ]
