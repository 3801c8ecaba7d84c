"""The day board: what it tells on the day, and what is said on it."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterator
from typing import Any
from unittest import mock

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from clinics.models import (
    Clinic,
    ClockExchange,
    DayWish,
    Phone,
    StartLogEntry,
    StationWord,
    WishWord,
)
from portal.models import AuditEntry
from tests.cast import Cast, make_station, sign_in
from tests.clinics.hour_tools import BEGINS_AT, crowded, hour_of, tap

# Six in two groups, all 90 s per 100 m over 50 m: a gap of 55 s. Starts at 60, 115, 170 s and,
# after change-over and briefing, at 315, 370, 425 s.


@pytest.fixture(autouse=True)
def without_second_factor(settings: Any) -> None:
    settings.SECOND_FACTOR_REQUIRED = False


@pytest.fixture
def six(cast: Cast) -> Clinic:
    clinic = crowded(cast.harbour, (3, 3), [90.0] * 6)
    hour_of(clinic)
    return clinic


class Clock:
    """What time it is on the pages of this test."""

    def __init__(self) -> None:
        self.now = BEGINS_AT

    def at(self, after_s: float) -> None:
        self.now = BEGINS_AT + dt.timedelta(seconds=after_s)


@pytest.fixture
def clock() -> Iterator[Clock]:
    told = Clock()
    with (
        mock.patch("clinics.views.day_board.timezone.now", lambda: told.now),
        mock.patch("clinics.actions.day_board.timezone.now", lambda: told.now),
    ):
        yield told


def url(clinic: Clinic, name: str = "day-board") -> str:
    return reverse(f"clinics:{name}", args=[clinic.pk])


def words(page: Any) -> str:
    text = re.sub(r"<[^>]+>", " ", page.content.decode())
    return re.sub(r"\s+", " ", text)


def board(cast: Cast, clinic: Clinic, **asked: str) -> str:
    return words(sign_in(Client(), cast.coach).get(url(clinic), asked))


# --- where the clinic stands ------------------------------------------------------------------


def test_before_the_hour_it_says_when_it_begins(cast: Cast, six: Clinic, clock: Clock) -> None:
    clock.at(-86_400)
    told = board(cast, six)
    assert "Begins on 14 November 2026 at 10:30." in told and "In the lane" not in told
    clock.at(-60)
    told = board(cast, six)
    assert "Begins at 10:30." in told and "1 Swimmer 1 about 10:31:00, group 1" in told


def test_who_swims_who_is_next_and_how_far_behind(cast: Cast, six: Clinic, clock: Clock) -> None:
    tap(six, 1, 180)
    clock.at(200)
    told = board(cast, six)
    assert "2 minutes behind the timetable." in told
    assert "Gone: 1 of 6." in told
    assert "In the lane 1 Swimmer 1 away at 10:33:00, group 1" in told
    assert "2 Swimmer 2 about 10:33:55, group 1 3 Swimmer 3" in told
    assert "A timetable is no leave to start" in told


def test_on_time_and_ahead(cast: Cast, six: Clinic, clock: Clock) -> None:
    tap(six, 1, 62)
    clock.at(70)
    assert "On time." in board(cast, six)
    for number, after_s in ((2, 100), (3, 140), (4, 200)):
        tap(six, number, after_s)
    clock.at(210)
    assert "2 minutes ahead." in board(cast, six)


def test_who_would_end_after_the_pool_time_is_named(cast: Cast, six: Clinic, clock: Clock) -> None:
    six.pool_hour.minutes = 8
    six.pool_hour.save()
    tap(six, 1, 180)
    clock.at(190)
    told = board(cast, six)
    assert "The last would be out at 10:40, 2 minutes after the pool time." in told
    assert "Would end after the pool time 4 Swimmer 4 , 5 Swimmer 5 , 6 Swimmer 6" in told


def test_late_no_shows_passed_over_and_second_goes_are_told(
    cast: Cast, six: Clinic, clock: Clock
) -> None:
    tap(six, 1, 60, "no-show")
    tap(six, 2, 70, "skipped")
    said = {"said_at": BEGINS_AT, "client_id": "x"}
    ready = BEGINS_AT + dt.timedelta(minutes=5)
    entry = {e.number: e for e in six.entries.all()}
    DayWish.objects.create(entry=entry[3], kind="late", from_at=ready, **said)
    DayWish.objects.create(entry=entry[4], kind="second-go", **said)
    clock.at(80)
    told = board(cast, six)
    assert "Comes late 3 Swimmer 3 (ready from 10:35)" in told
    assert "Passed over for now 2 Swimmer 2" in told
    assert "Did not come 1 Swimmer 1" in told
    assert re.search(r"Second go 4 Swimmer 4 \(about 10:\d\d\)", told)


def test_after_the_hour_it_says_how_it_went(cast: Cast, six: Clinic, clock: Clock) -> None:
    for number, after_s in ((1, 60), (2, 115), (3, 170), (4, 500), (5, 560)):
        tap(six, number, after_s)
    clock.at(20_000)
    told = board(cast, six)
    assert "Has not gone, and nobody said why 6 Swimmer 6" in told
    assert "Gone: 5 of 6." in told and "Next" not in told
    page = sign_in(Client(), cast.coach).get(url(six)).content.decode()
    assert "part=lane" not in page  # nothing of it changes any more


def test_day_can_be_looked_back_at(cast: Cast, six: Clinic, clock: Clock) -> None:
    tap(six, 1, 60)
    tap(six, 2, 115)
    clock.at(20_000)
    told = board(cast, six, at="10:31:30")
    assert "You look back: this is how it stood at 10:31:30." in told
    assert "In the lane 1 Swimmer 1" in told and "Gone: 1 of 6." in told
    assert "You look back" not in board(cast, six, at="soon")


def test_without_a_timetable_it_leads_to_the_hour(cast: Cast, clock: Clock) -> None:
    told = board(cast, cast.clinic)
    assert "There is no timetable yet" in told and "Stations" in told


# --- stations and phones ----------------------------------------------------------------------


def test_newest_word_on_a_station_holds(cast: Cast, six: Clinic, clock: Clock) -> None:
    start = make_station(six, 1, "start", "Start side", "start-side")
    make_station(six, 2, "deep", "Under water", "underwater")
    crew = sign_in(Client(), cast.crew)
    for after_s, state in ((10, "rolling"), (20, "battery")):
        clock.at(after_s)
        done = crew.post(url(six, "day-station"), {"station": start.pk, "state": state})
        assert done.status_code == 302
    told = board(cast, six)
    assert "Start side battery is low said at 10:30:20" in told
    assert "Under water nothing said yet" in told and "0 of 2 stations are rolling." in told
    clock.at(30)
    part = crew.post(
        url(six, "day-station"),
        {"station": start.pk, "state": "rolling"},
        headers={"hx-request": "true"},
    )
    assert part.status_code == 200 and "1 of 2 stations are rolling." in words(part)
    assert "<html" not in part.content.decode()
    assert AuditEntry.objects.filter(action="station.said").count() == 3


def test_station_of_another_clinic_or_a_made_up_state_is_refused(
    cast: Cast, six: Clinic, clock: Clock
) -> None:
    crew = sign_in(Client(), cast.crew)
    crew.post(url(six, "day-station"), {"station": cast.start_side.pk, "state": "rolling"})
    make_station(six, 1, "start", "Start side", "start-side")
    here = six.stations.get()
    crew.post(url(six, "day-station"), {"station": here.pk, "state": "on fire"})
    assert not StationWord.objects.exists()


def test_only_crew_says_how_a_station_is(cast: Cast, six: Clinic) -> None:
    here = make_station(six, 1, "start", "Start side", "start-side")
    coach = sign_in(Client(), cast.coach)
    assert 'name="state"' not in coach.get(url(six)).content.decode()
    said = {"station": here.pk, "state": "rolling"}
    assert coach.post(url(six, "day-station"), said).status_code == 404


def make_phone(clinic: Clinic, n: int, heard_s: float, unsent: int = 0) -> Phone:
    at = BEGINS_AT + dt.timedelta(seconds=heard_s)
    phone = Phone.objects.create(
        clinic=clinic, key=f"phone-{n}", name=f"Phone {n}", heard_at=at, unsent=unsent
    )
    begun_ms = at.timestamp() * 1000
    ClockExchange.objects.bulk_create(
        ClockExchange(
            phone=phone,
            run="run-1",
            sent_ms=1000.0 * k,
            server_ms=begun_ms + 1000.0 * k + 10,
            answered_ms=begun_ms + 1000.0 * k + 11,
            came_ms=1000.0 * k + 21,
            wall_ms=begun_ms + 1000.0 * k + 21,
        )
        for k in range(8)
    )
    return phone


def test_each_phone_says_when_it_was_heard_and_how_well_its_clock_is_known(
    cast: Cast, six: Clinic, clock: Clock
) -> None:
    make_phone(six, 1, 100)
    make_phone(six, 2, -300, unsent=3)
    Phone.objects.create(clinic=six, key="new", name="", heard_at=BEGINS_AT)
    clock.at(110)
    told = board(cast, six)
    assert re.search(r"Phone 1 heard 10 s ago all sent clock known within 0\.0\d s", told)
    assert "Phone 2 heard 6 minutes ago 3 lines not sent yet" in told
    assert "clock not known yet" in told


def test_contradictions_between_phones_are_said(cast: Cast, six: Clinic, clock: Clock) -> None:
    one, two = (make_phone(six, n, 50) for n in (1, 2))
    for phone, outcome, after_s in ((one, "away", 60), (two, "no-show", 62)):
        line = tap(six, 1, after_s, outcome)
        StartLogEntry.objects.filter(pk=line.pk).update(phone=phone)
    clock.at(70)
    told = board(cast, six)
    assert "The phones contradict each other" in told
    assert "needs somebody Number 1 is away by" in told


# --- wishes -----------------------------------------------------------------------------------


def test_coach_says_who_comes_late_and_who_goes_again_and_takes_it_back(
    cast: Cast, six: Clinic, clock: Clock
) -> None:
    coach = sign_in(Client(), cast.coach)
    late = {"number": 1, "kind": "late", "ready": "10:40"}
    coach.post(url(six, "day-wish"), late)
    clock.at(5)
    coach.post(url(six, "day-wish"), {"number": 2, "kind": "second-go"})
    told = words(coach.get(url(six)))
    assert "1 Swimmer 1: comes late, ready from 10:40" in told
    assert "2 Swimmer 2: second go" in told
    clock.at(10)
    coach.post(url(six, "day-wish"), {"number": 1, "kind": "late", "gone": "1"})
    assert [w.kind for w in DayWish.objects.all()] == ["second-go"]
    assert WishWord.objects.filter(gone=True).count() == 1  # so that no phone brings it back
    assert AuditEntry.objects.filter(action="wish.said").count() == 3


@pytest.mark.parametrize(
    ("said", "told"),
    [
        ({"number": 77, "kind": "second-go"}, "number 77 is not in the running order."),
        ({"number": 1, "kind": "late"}, "Say from when they are ready."),
        ({"number": 1, "kind": "late", "ready": "soon"}, "Say a time of day, as 10:45."),
        ({"number": 1, "kind": "tired"}, "Select a valid choice."),
    ],
)
def test_bad_wish_is_told(
    cast: Cast, six: Clinic, clock: Clock, said: dict[str, object], told: str
) -> None:
    page = sign_in(Client(), cast.crew).post(url(six, "day-wish"), said, follow=True)
    assert told in words(page) and not DayWish.objects.exists()


def test_nothing_is_said_of_a_closed_clinic(cast: Cast, six: Clinic, clock: Clock) -> None:
    Clinic.objects.filter(pk=six.pk).update(state="closed", closed_at=timezone.now())
    coach = sign_in(Client(), cast.coach)
    coach.post(url(six, "day-wish"), {"number": 1, "kind": "second-go"})
    assert not DayWish.objects.exists()
    assert 'id="wishes"' not in coach.get(url(six)).content.decode()


# --- parts ------------------------------------------------------------------------------------


def test_board_renews_itself_part_by_part(cast: Cast, six: Clinic, clock: Clock) -> None:
    clock.at(10)
    coach = sign_in(Client(), cast.coach)
    page = coach.get(url(six)).content.decode()
    for part, every in (("lane", "5s"), ("kit", "15s")):
        assert f'hx-get="{url(six)}?part={part}" hx-trigger="every {every}"' in page
        answer = coach.get(url(six), {"part": part})
        assert f'id="day-{part}"' in answer.content.decode()
        assert "<html" not in answer.content.decode()
        assert answer["Cache-Control"] == "no-store"


@pytest.mark.parametrize(("part", "queries"), [("lane", 12), ("kit", 17)])
def test_part_takes_as_many_queries_for_three_as_for_one(
    cast: Cast, clock: Clock, part: str, queries: int, django_assert_num_queries: Any
) -> None:
    client = sign_in(Client(), cast.crew)
    for count in (1, 3):
        clinic = crowded(cast.harbour, (count,), [90.0] * count, f"of-{count}")
        hour_of(clinic)
        for n in range(1, count + 1):
            tap(clinic, n, 60.0 * n)
            make_station(clinic, n, f"s-{n}", f"Station {n}", "deck")
            make_phone(clinic, n, 10)
        client.get(url(clinic), {"part": part})
        with django_assert_num_queries(queries):
            client.get(url(clinic), {"part": part})
