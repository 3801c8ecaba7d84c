"""Phones that log at the pool: how their clocks run against the server's, and what their crew
says of the stations. What comes from a phone carries an id that the phone made, so that sending
it twice changes nothing."""

from __future__ import annotations

import uuid

from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy as _


class Phone(models.Model):
    """One browser on one phone, at one clinic; its `key` is made there and kept over restarts."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    clinic = models.ForeignKey("clinics.Clinic", models.CASCADE, related_name="phones")
    key = models.CharField(max_length=64)
    name = models.CharField(max_length=60, blank=True)  # as its holder calls it
    user = models.ForeignKey("portal.User", models.SET_NULL, null=True, related_name="+")
    unsent = models.PositiveIntegerField(default=0)  # as it said when it was last heard
    first_heard_at = models.DateTimeField(default=timezone.now)
    heard_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["first_heard_at"]
        constraints = [
            models.UniqueConstraint(fields=["clinic", "key"], name="phone_once_at_a_clinic")
        ]

    def __str__(self) -> str:
        return self.name or self.key[:8]


class ClockExchange(models.Model):
    """One time stamp to the server and back (clinics/compute/phone_clock/exchange.py). `run`
    names the run of the phone's monotonic clock: a restart begins a new one. All in ms;
    `sent_ms` and `came_ms` on that clock, the others since 1970."""

    phone = models.ForeignKey(Phone, models.CASCADE, related_name="exchanges")
    run = models.CharField(max_length=60)
    sent_ms = models.FloatField()
    server_ms = models.FloatField()
    answered_ms = models.FloatField()
    came_ms = models.FloatField()
    wall_ms = models.FloatField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["phone", "run", "sent_ms"], name="clock_exchange_once"),
            models.CheckConstraint(
                condition=models.Q(came_ms__gte=models.F("sent_ms")),
                name="clock_exchange_comes_after",
            ),
        ]


class ClockScan(models.Model):
    """A phone read the code that another one showed (clinics/compute/phone_clock/twins.py):
    run `read_run` read, at `read_ms` of its clock, that of `shown_run`, which said `shown_ms`."""

    phone = models.ForeignKey(Phone, models.CASCADE, related_name="scans")
    shown_run = models.CharField(max_length=60)
    shown_ms = models.FloatField()
    read_run = models.CharField(max_length=60)
    read_ms = models.FloatField()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["phone", "shown_run", "shown_ms", "read_run", "read_ms"],
                name="clock_scan_once",
            )
        ]


class StationWord(models.Model):
    """What the crew of a station says of its camera on the day; the newest one holds."""

    class State(models.TextChoices):
        ROLLING = "rolling", _("rolling")
        STOPPED = "stopped", _("stopped")
        BATTERY = "battery", _("battery")

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    station = models.ForeignKey("clinics.Station", models.CASCADE, related_name="words")
    client_id = models.CharField(max_length=64)
    state = models.CharField(max_length=8, choices=State)
    at = models.DateTimeField(default=timezone.now)
    said_by = models.ForeignKey("portal.User", models.SET_NULL, null=True, related_name="+")

    class Meta:
        ordering = ["at"]
        constraints = [
            models.UniqueConstraint(fields=["station", "client_id"], name="station_word_once")
        ]


class TakenBack(models.Model):
    """A line of the start log that a phone took back before the line itself had come: when it
    comes, it is kept as undone."""

    clinic = models.ForeignKey("clinics.Clinic", models.CASCADE, related_name="taken_back")
    client_id = models.CharField(max_length=64)
    taken_back_by = models.ForeignKey("portal.User", models.SET_NULL, null=True, related_name="+")
    received_at = models.DateTimeField(default=timezone.now)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["clinic", "client_id"], name="taken_back_once")
        ]


class WishWord(models.Model):
    """What phones said last of one wish of one swimmer, or that it is gone. `DayWish` follows from
    it; this row stays, so that older words that come late, or again, change nothing."""

    entry = models.ForeignKey("clinics.Entry", models.CASCADE, related_name="wish_words")
    kind = models.CharField(max_length=9)  # of DayWish
    client_id = models.CharField(max_length=64)
    gone = models.BooleanField(default=False)
    from_at = models.DateTimeField(null=True)
    said_ms = models.FloatField()  # by the phone's wall clock, as told

    class Meta:
        constraints = [models.UniqueConstraint(fields=["entry", "kind"], name="wish_word_once")]
