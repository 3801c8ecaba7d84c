"""A clinic's timetable from its rows, and its day from the start log.

Outside evidence: facts of the trade (common practice, no published source): 40 swimmers in
groups of five or six fit a pool hour, 60 do not.
"""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest

from clinics.actions.erase_wishes import erase_wishes, find_wishes
from clinics.actions.errors import BadInput
from clinics.actions.pool_hour import Planned, planned, set_pool_hour
from clinics.actions.pool_hour_day import DayOf, day_of
from clinics.compute.rotation import Part
from clinics.models import Clinic, DayWish, LaneGroup, PoolHour, StartLogEntry, Swim, WishWord
from portal.models import AuditEntry
from portal.registry import Person
from tests.cast import DAY, Cast, make_station
from tests.clinics.hour_tools import (
    BEGINS,
    BEGINS_AT,
    SIZES_OF_40,
    SIZES_OF_60,
    crowded,
    even_paces,
    hour_of,
    tap,
)


def plan_of(clinic: Clinic) -> Planned:
    found = planned(clinic)
    assert found is not None
    return found


def day_at(clinic: Clinic, after_s: float) -> DayOf:
    found = day_of(clinic, BEGINS_AT + dt.timedelta(seconds=after_s))
    assert found is not None
    return found


@pytest.fixture
def six(cast: Cast) -> Clinic:
    """Two groups of three who all need 70 s for 75 m and climbing out; starts at 60, 130, 200
    and at 360, 430, 500 s: 60 s of briefing, 30 s of change-over."""
    clinic = crowded(cast.harbour, (3, 3), [80.0] * 6)
    Clinic.objects.filter(pk=clinic.pk).update(distance_m=75)
    clinic.refresh_from_db()
    hour_of(clinic)
    return clinic


# --- facts of the trade: common practice, no source -----------------------------------------------


def test_forty_swimmers_fit_a_pool_hour(cast: Cast) -> None:
    clinic = crowded(cast.harbour, SIZES_OF_40, even_paces(40, 80.0, 120.0))
    Clinic.objects.filter(pk=clinic.pk).update(distance_m=60)
    clinic.refresh_from_db()
    hour_of(clinic)
    said = plan_of(clinic).capacity
    assert said.fits and 0 <= said.spare_min < 5
    assert plan_of(clinic).ways == []


def test_sixty_do_not_by_so_many_minutes(cast: Cast) -> None:
    """By hand: all at 80 s per 100 m over 75 m: 60 goes of 70 s, ten briefings of 60 s, nine
    changes of 30 s are 5070 s, 24.5 minutes more than there are."""
    clinic = crowded(cast.harbour, SIZES_OF_60, [80.0] * 60)
    Clinic.objects.filter(pk=clinic.pk).update(distance_m=75)
    clinic.refresh_from_db()
    hour_of(clinic)
    plan = plan_of(clinic)
    assert plan.timetable.spare_s == 3600 - 5070
    assert (plan.capacity.fits, plan.capacity.spare_min, plan.capacity.that_fit) == (False, -25, 42)
    assert plan.ways and plan.ways[-1].fits


# --- the timetable --------------------------------------------------------------------------------


def test_there_is_no_timetable_without_an_hour_or_without_swimmers(cast: Cast) -> None:
    assert planned(cast.clinic) is None
    hour_of(cast.clinic)
    assert planned(cast.clinic) is not None
    empty = crowded(cast.harbour, (), [])
    hour_of(empty)
    assert planned(empty) is None
    assert day_of(empty, BEGINS_AT) is None


def test_starts_are_in_clinic_time(six: Clinic) -> None:
    plan = plan_of(six)
    assert list(plan.entries) == [1, 2, 3, 4, 5, 6]
    assert plan.starts_at(1).isoformat() == "2026-11-14T10:31:00+00:00"
    assert plan.starts_at(4) == BEGINS_AT + dt.timedelta(seconds=360)


def test_seconds_are_seconds_when_clocks_change(six: Clinic) -> None:
    """Dublin on 25 October 2026: at 02:00 it is 01:00 again."""
    six.date = dt.date(2026, 10, 25)
    six.save()
    PoolHour.objects.filter(clinic=six).update(begins=dt.time(0, 45))
    plan = plan_of(six)
    assert plan.at(3600).isoformat() == "2026-10-25T01:45:00+01:00"
    assert plan.at(7200).isoformat() == "2026-10-25T01:45:00+00:00"
    assert plan.seconds(plan.at(7200)) == 7200


def test_groups_go_in_their_order_and_swimmers_in_theirs(six: Clinic) -> None:
    LaneGroup.objects.filter(clinic=six, name="1").update(order=9)
    six.entries.filter(number=6).update(order=0)
    plan = plan_of(six)
    assert plan.timetable.groups == ("2", "1")
    assert [goer.key for goer in plan.timetable.goers] == [6, 4, 5, 1, 2, 3] == list(plan.entries)


def test_passes_at_each_station_follow(six: Clinic) -> None:
    make_station(six, 1, "start", "Start side", "start-side")
    under = make_station(six, 2, "deep", "Under water", "underwater")
    plan = plan_of(six)
    first = [d.at_s for d in plan.passes(list(six.stations.all())) if d.key == 1]
    assert first == [60.0, 70.0, 90.0, 100.0, 110.0]  # start, by, by, turn at the start, by
    assert {d.station for d in plan.passes([under])} == {under.pk}


def test_timetable_takes_as_many_queries_for_many(
    cast: Cast, six: Clinic, django_assert_num_queries: Any
) -> None:
    one = crowded(cast.harbour, (1,), [90.0])
    hour_of(one)
    for clinic in (one, six):
        for number in range(1, 1 + clinic.entries.count() // 2):
            tap(clinic, number, 60.0 * number)
        with django_assert_num_queries(2):
            planned(clinic)
        with django_assert_num_queries(5):
            day_of(clinic, BEGINS_AT)


# --- setting the hour -----------------------------------------------------------------------------


def test_hour_is_set_and_set_again_and_noted(cast: Cast) -> None:
    set_pool_hour(clinic=cast.clinic, values={"begins": BEGINS, "minutes": 45}, by=cast.admin)
    hour = set_pool_hour(clinic=cast.clinic, values={"briefing_s": 90}, by=cast.admin)
    assert (hour.begins, hour.minutes, hour.briefing_s, hour.rest_s) == (BEGINS, 45, 90, 180)
    assert AuditEntry.objects.filter(action="pool-hour.set").count() == 2


@pytest.mark.parametrize(
    ("values", "told"),
    [
        ({"begins": None}, "the pool is yours from: say from when the pool is yours, as 10:30."),
        ({"minutes": 0}, "for how many minutes: 0 is outside 1 to 1440."),
        ({"climbing_out_s": 601}, "climbing out, seconds: 601 is outside 0 to 600."),
        ({"rest_s": "x"}, "rest before a second go, seconds: must be a whole number."),
        (
            {"reserve_s": 3600},
            "kept back at the end, seconds: must be less than the 60 minutes of the pool.",
        ),
        ({"date": DAY}, "date: is nothing that a pool hour has."),
    ],
)
def test_bad_hour_names_the_field(cast: Cast, values: dict[str, object], told: str) -> None:
    with pytest.raises(BadInput) as bad:
        set_pool_hour(clinic=cast.clinic, values={"begins": BEGINS, **values}, by=cast.admin)
    assert bad.value.lines() == [told]
    assert not PoolHour.objects.exists()


def test_closed_clinic_keeps_its_hour(cast: Cast) -> None:
    Clinic.objects.filter(pk=cast.clinic.pk).update(state="closed", closed_at=BEGINS_AT)
    with pytest.raises(BadInput, match="closed"):
        set_pool_hour(clinic=cast.clinic, values={"begins": BEGINS}, by=cast.admin)


# --- the day --------------------------------------------------------------------------------------


def order(found: DayOf) -> list[int]:
    return [entry.number for entry in found.next_up]


def wish(
    clinic: Clinic, number: int, kind: str, said_s: float, from_s: float | None = None
) -> None:
    DayWish.objects.create(
        entry=clinic.entries.get(number=number),
        kind=kind,
        client_id=f"{kind}-{number}",
        said_at=BEGINS_AT + dt.timedelta(seconds=said_s),
        from_at=None if from_s is None else BEGINS_AT + dt.timedelta(seconds=from_s),
    )


def test_day_begins_as_planned(six: Clinic) -> None:
    found = day_at(six, 0)
    assert (order(found), found.slip_s, found.in_lane) == ([1, 2, 3, 4, 5, 6], 0.0, None)


def test_who_is_in_the_lane_and_how_late_the_clinic_is(six: Clinic) -> None:
    tap(six, 1, 180)
    tap(six, 2, 250, "not-filmed")
    found = day_at(six, 255)
    assert found.in_lane is not None and found.in_lane.key == 2
    assert (order(found), found.slip_s) == ([3, 4, 5, 6], 120.0)
    assert day_at(six, 330).in_lane is None


def test_called_back_goes_again_and_what_was_undone_never_was(six: Clinic) -> None:
    tap(six, 1, 60, "false-start")
    line = tap(six, 2, 130, "not-filmed")
    line.undone_at = BEGINS_AT
    line.save()
    assert order(day_at(six, 135)) == [1, 2, 3, 4, 5, 6]


def test_no_show_is_left_out_until_they_go_after_all(six: Clinic) -> None:
    tap(six, 1, 60, "no-show")
    found = day_at(six, 65)
    assert (order(found), found.no_shows) == ([2, 3, 4, 5, 6], {1})
    tap(six, 1, 300)
    assert day_at(six, 310).no_shows == frozenset()


def test_who_was_passed_over_goes_at_the_end_of_their_group(six: Clinic) -> None:
    tap(six, 1, 60, "skipped")
    found = day_at(six, 65)
    assert (order(found), found.skipped) == ([2, 3, 1, 4, 5, 6], {1})
    tap(six, 1, 210, "no-show")
    assert order(day_at(six, 215)) == [2, 3, 4, 5, 6]


def test_who_comes_late_goes_when_they_are_there(six: Clinic) -> None:
    wish(six, 1, "late", 0, from_s=480)
    found = day_at(six, 10)
    assert order(found) == [2, 3, 4, 5, 6, 1]
    assert found.day.slots[-1].part is Part.LAST
    assert found.late == {1: BEGINS_AT + dt.timedelta(seconds=480)}


@pytest.mark.parametrize(("said_s", "comes"), [(50, False), (70, True)])
def test_of_late_and_no_show_what_was_said_last_holds(
    six: Clinic, said_s: float, comes: bool
) -> None:
    tap(six, 1, 60, "no-show")
    wish(six, 1, "late", said_s, from_s=300)
    found = day_at(six, 80)
    assert (1 in order(found), 1 in found.late, 1 in found.no_shows) == (comes, comes, not comes)


def test_second_go_comes_after_a_rest(six: Clinic) -> None:
    wish(six, 1, "second-go", 0)
    found = day_at(six, 0)
    assert order(found) == [1, 2, 3, 4, 5, 6, 1]
    assert found.day.slots[-1].part is Part.SECOND


def test_start_that_two_phones_logged_counts_once(six: Clinic) -> None:
    """One swim follows from both lines, however wrong the other phone's clock is."""
    line = tap(six, 1, 60)
    StartLogEntry.objects.create(
        clinic=six, client_id="other-phone-1", entry=line.entry, outcome="away",
        instant=line.instant + dt.timedelta(seconds=900),
    )  # fmt: skip
    found = day_at(six, 1000)
    assert [slot.key for slot in found.day.done] == [1]


def test_who_was_away_and_whose_swim_is_deleted_has_gone(six: Clinic) -> None:
    tap(six, 1, 60)
    Swim.objects.all().delete()
    assert [slot.key for slot in day_at(six, 1000).day.done] == [1]


def test_erasing_a_swimmer_takes_what_was_said_of_them_on_the_day(cast: Cast, six: Clinic) -> None:
    wish(six, 1, "second-go", 0)
    wish(six, 2, "second-go", 0)
    WishWord.objects.create(
        entry=six.entries.get(number=1), kind="second-go", client_id="x", said_ms=1.0
    )
    swimmer = six.entries.get(number=1).swimmer
    person = Person("swimmer", swimmer.pk, six.club, swimmer.name)
    assert find_wishes(person).rows == {"day-wishes": 2}
    for _ in range(2):
        erase_wishes(person)
    assert find_wishes(person).rows == {"day-wishes": 0}
    assert [one.entry.number for one in DayWish.objects.all()] == [2]
    assert WishWord.objects.get().gone


def test_day_can_be_looked_back_at(six: Clinic) -> None:
    tap(six, 1, 60)
    tap(six, 2, 130)
    wish(six, 3, "second-go", 500)
    at = BEGINS_AT + dt.timedelta(seconds=100)
    found = day_of(six, at, look_back=True)
    assert found is not None and order(found) == [2, 3, 4, 5, 6]


def test_lines_of_another_day_count_for_nothing_and_are_told(six: Clinic) -> None:
    tap(six, 1, -200_000, "not-filmed")
    found = day_at(six, 0)
    assert (order(found)[0], found.other_day) == (1, 1)


def test_a_clinic_of_last_year_can_still_be_looked_at(six: Clinic) -> None:
    tap(six, 1, 60)
    assert len(day_at(six, 400 * 86_400).day.done) == 1
    assert day_at(six, -400 * 86_400).day.slots


def test_wish_of_another_clinic_is_not_in_the_day(cast: Cast, six: Clinic) -> None:
    hour_of(cast.other_clinic)
    wish(six, 1, "second-go", 0)
    found = day_of(cast.other_clinic, BEGINS_AT)
    assert found is not None and found.day.no_second == ()
