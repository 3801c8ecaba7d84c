"""A volunteer's part of a clinic as a calendar file (iCalendar, RFC 5545).

The day with the person's posts, and what is due of them before and after it. Due days are
all-day events, not to-dos: many calendars pass to-dos over without a word. Each event keeps its
UID, and a later file has a higher SEQUENCE, so that taking the file in again replaces what it
brought before (RFC 5546, 2.1.4). Nothing in it opens anything: no token, no address of a person.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterable
from dataclasses import dataclass

from icalendar import Alarm, Calendar, Event

from clinics.models import Clinic, PoolHour
from portal.models import User

PRODUCT = "-//Sidelane//Clinic calendar 1//EN"
DAY_BEFORE, BEFORE_BEGIN = dt.timedelta(days=1), dt.timedelta(hours=2)
DUE_AT = dt.timedelta(hours=9)  # of the day itself: an alarm at midnight wakes people


@dataclass(frozen=True)
class DueDay:
    """Something to be done by a day; `key` stays what it is."""

    key: str
    words: str
    day: dt.date


@dataclass(frozen=True)
class Words:
    """What is said, in the reader's language."""

    title: str
    about: str  # posts, and whom to ask
    begins_soon: str


def calendar_of(
    *,
    clinic: Clinic,
    hour: PoolHour | None,
    user: User,
    due: Iterable[DueDay],
    words: Words,
    page: str,
    now: dt.datetime,
) -> bytes:
    """The file's bytes. Without a pool hour the day is an event of the whole day."""
    calendar = Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    stamp = _Stamp(clinic, user, now)
    calendar.add_component(_day(clinic, hour, words, page, stamp))
    for one in due:
        calendar.add_component(_due(one, page, stamp))
    calendar.add_missing_timezones()
    return calendar.to_ical()


@dataclass(frozen=True)
class _Stamp:
    clinic: Clinic
    user: User
    now: dt.datetime

    def begun(self, key: str) -> Event:
        """An event with what each must have (RFC 5545, 3.6.1). Two people of one household may
        take their files into one calendar: the id is of the person's, too."""
        event = Event()
        event.add("uid", str(uuid.uuid5(self.clinic.pk, f"{self.user.pk}/{key}")))
        event.add("dtstamp", self.now)
        event.add("last-modified", self.now)
        event.add("sequence", self._sequence())
        return event

    def _sequence(self) -> int:
        """Minutes since the clinic was begun: a later file is a newer one."""
        return max(int((self.now - self.clinic.created_at).total_seconds() // 60), 0)


def _day(clinic: Clinic, hour: PoolHour | None, words: Words, page: str, stamp: _Stamp) -> Event:
    event = stamp.begun("day")
    event.add("summary", words.title)
    event.add("location", clinic.venue)
    event.add("description", words.about)
    event.add("url", page)
    if hour is None:
        _whole_day(event, clinic.date)
        event.add_component(_alarm(words.begins_soon, DUE_AT - DAY_BEFORE))
        return event
    ends_at = (hour.begins_at.astimezone(dt.UTC) + dt.timedelta(minutes=hour.minutes)).astimezone(
        clinic.zone
    )
    event.add("dtstart", hour.begins_at)
    event.add("dtend", ends_at)
    for before in (DAY_BEFORE, BEFORE_BEGIN):
        event.add_component(_alarm(words.begins_soon, -before))
    return event


def _due(one: DueDay, page: str, stamp: _Stamp) -> Event:
    event = stamp.begun(f"due-{one.key}")
    event.add("summary", one.words)
    event.add("url", page)
    _whole_day(event, one.day)
    event.add("transp", "TRANSPARENT")  # it takes no time of the day
    event.add_component(_alarm(one.words, DUE_AT))
    return event


def _whole_day(event: Event, day: dt.date) -> None:
    event.add("dtstart", day)
    event.add("dtend", day + dt.timedelta(days=1))


def _alarm(told: str, trigger: dt.timedelta) -> Alarm:
    """Counted from the begin of its event."""
    alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("description", told)
    alarm.add("trigger", trigger)
    return alarm
