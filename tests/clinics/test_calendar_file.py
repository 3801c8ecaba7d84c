"""The calendar file, parsed back by the library and held against RFC 5545 by its bytes."""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

import icalendar
import pytest
from django.test import Client
from django.urls import reverse

from clinics.models import Clinic, ClinicTask, Duty, PoolHour
from portal.models import User
from tests.cast import Cast, sign_in

SUMMER = dt.date(2027, 6, 12)


def taken(who: User, clinic: Clinic) -> bytes:
    answer = sign_in(Client(), who).get(reverse("clinics:calendar-file", args=[clinic.pk]))
    assert answer.status_code == 200
    assert answer["Content-Type"] == "text/calendar; charset=utf-8"  # RFC 5545, 8.1
    assert answer["Content-Disposition"] == 'attachment; filename="harbour-autumn.ics"'
    assert "no-store" in answer["Cache-Control"]
    return bytes(answer.content)


def events(content: bytes) -> list[icalendar.Event]:
    return list(icalendar.Calendar.from_ical(content).walk("VEVENT"))


def day_of(content: bytes) -> icalendar.Event:
    return next(one for one in events(content) if not one.get("transp"))


@pytest.fixture
def planned(cast: Cast) -> Cast:
    PoolHour.objects.create(clinic=cast.clinic, begins=dt.time(10, 30), minutes=90)
    Duty.objects.create(clinic=cast.clinic, user=cast.crew, kind="starter")
    Duty.objects.create(clinic=cast.clinic, user=cast.crew, kind="camera", station=cast.start_side)
    return cast


def test_the_file_is_written_as_the_rfc_asks(planned: Cast) -> None:
    Clinic.objects.filter(pk=planned.clinic.pk).update(venue="Millrace Baths, Ö " * 8)
    content = taken(planned.crew, planned.clinic)
    lines = content.split(b"\r\n")
    assert content.endswith(b"END:VCALENDAR\r\n") and b"\n" not in b"".join(lines)  # 3.1
    assert all(len(line) <= 75 for line in lines)  # 3.1: octets, without the break
    assert any(line.startswith(b" ") for line in lines)
    for line in lines:
        line.decode()  # no letter is torn by folding
    assert lines[0] == b"BEGIN:VCALENDAR" and b"VERSION:2.0" in lines  # 3.4, 3.7.4
    assert any(line.startswith(b"PRODID:") for line in lines)  # 3.7.3
    calendar = icalendar.Calendar.from_ical(content)
    assert not calendar.errors
    for event in calendar.walk("VEVENT"):  # 3.6.1: each has these, once
        assert event["uid"] and event["dtstamp"].dt.utcoffset() == dt.timedelta(0)
    assert len({str(event["uid"]) for event in calendar.walk("VEVENT")}) == len(events(content))


def test_the_day_has_begin_end_place_and_posts(planned: Cast) -> None:
    day = day_of(taken(planned.crew, planned.clinic))
    zone = ZoneInfo("Europe/Dublin")
    assert day["dtstart"].dt == dt.datetime(2026, 11, 14, 10, 30, tzinfo=zone)
    assert day["dtend"].dt - day["dtstart"].dt == dt.timedelta(minutes=90)
    assert day["dtstart"].params["TZID"] == "Europe/Dublin"
    assert str(day["location"]) == "Millrace Baths"
    assert "You: Starter, Camera (Start side)." in str(day["description"])
    triggers = {alarm["trigger"].dt for alarm in day.walk("VALARM")}
    assert triggers == {-dt.timedelta(days=1), -dt.timedelta(hours=2)}


def test_its_time_zone_stands_in_the_file_and_is_right_in_summer(planned: Cast) -> None:
    """3.6.5: a TZID that is used has its VTIMEZONE. Dublin is an hour ahead in June."""
    Clinic.objects.filter(pk=planned.clinic.pk).update(date=SUMMER)
    content = taken(planned.crew, planned.clinic)
    calendar = icalendar.Calendar.from_ical(content)
    assert [str(zone["tzid"]) for zone in calendar.walk("VTIMEZONE")] == ["Europe/Dublin"]
    assert day_of(content)["dtstart"].dt.astimezone(dt.UTC).hour == 9


def test_a_day_without_a_pool_hour_is_a_whole_day(cast: Cast) -> None:
    content = taken(cast.coach, cast.clinic)
    day = day_of(content)
    assert day["dtstart"].dt == dt.date(2026, 11, 14) and day["dtend"].dt == dt.date(2026, 11, 15)
    assert "not planned yet" in str(day["description"])
    assert "no post yet" in str(day["description"])


def test_what_is_due_of_somebody_are_whole_days(planned: Cast) -> None:
    ClinicTask.objects.create(
        clinic=planned.clinic, key="cake", words="Order the cake", days_before=5, for_role="crew"
    )
    due = {str(one["summary"]): one for one in events(taken(planned.crew, planned.clinic))}
    cake = due["Order the cake (Autumn clinic)"]
    assert cake["dtstart"].dt == dt.date(2026, 11, 9) and str(cake["transp"]) == "TRANSPARENT"
    assert not any("permission" in said or "Ask the pool operator" in said for said in due)
    admins = [str(one["summary"]) for one in events(taken(planned.admin, planned.clinic))]
    assert any("Ask the pool operator" in said for said in admins)
    assert not any("cake" in said for said in admins)  # they may tick it, it is not theirs
    coachs = events(taken(planned.coach, planned.clinic))
    assert len(coachs) == 1


def test_what_is_done_is_not_due(planned: Cast) -> None:
    before = len(events(taken(planned.crew, planned.clinic)))
    ClinicTask.objects.create(
        clinic=planned.clinic, key="try-out", done_at=dt.datetime(2026, 11, 13, tzinfo=dt.UTC)
    )
    assert len(events(taken(planned.crew, planned.clinic))) == before - 1


def test_a_later_file_replaces_an_earlier_one_and_no_one_elses(planned: Cast) -> None:
    """RFC 5546, 2.1.4: the same UID with a higher SEQUENCE is the newer one."""
    first = day_of(taken(planned.crew, planned.clinic))
    earlier = planned.clinic.created_at - dt.timedelta(days=3)
    Clinic.objects.filter(pk=planned.clinic.pk).update(created_at=earlier)  # three days later
    PoolHour.objects.update(begins=dt.time(11, 0))
    second = day_of(taken(planned.crew, planned.clinic))
    assert first["uid"] == second["uid"] and second["sequence"] > first["sequence"]
    assert day_of(taken(planned.admin, planned.clinic))["uid"] != first["uid"]


def test_nothing_in_it_is_a_secret_or_about_somebody_else(planned: Cast) -> None:
    content = taken(planned.crew, planned.clinic).replace(b"\r\n ", b"").decode()
    for name in ("Tomas", "Wren", "Sol ", "Jun", "@", "token", "ORGANIZER", "ATTENDEE"):
        assert name not in content
    urls = {str(one["url"]) for one in events(content.encode())}
    page = f"http://testserver{reverse('clinics:clinic', args=[planned.clinic.pk])}"
    assert urls == {page}  # which asks for a sign-in


def test_strangers_find_nothing(planned: Cast) -> None:
    url = reverse("clinics:calendar-file", args=[planned.clinic.pk])
    for who in (planned.tomas, planned.other_admin):
        assert sign_in(Client(), who).get(url).status_code == 404
