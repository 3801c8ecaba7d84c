"""Pages of the pool hour: what they say, what an admin changes on them, and for whom they are."""

from __future__ import annotations

import json
import re
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from clinics.models import Clinic, PoolHour
from tests.cast import Cast, make_station, sign_in
from tests.clinics.hour_tools import SIZES_OF_40, SIZES_OF_60, crowded, hour_of, tap

HOUR = {
    "begins": "10:30",
    "minutes": "60",
    "briefing_s": "60",
    "change_over_s": "30",
    "climbing_out_s": "10",
    "reserve_s": "0",
    "rest_s": "180",
}


@pytest.fixture(autouse=True)
def without_second_factor(settings: Any) -> None:
    settings.SECOND_FACTOR_REQUIRED = False


@pytest.fixture
def admin(cast: Cast) -> Client:
    return sign_in(Client(), cast.admin)


def words(page: Any) -> str:
    """What stands on the page, tags and breaks of lines left out."""
    text = re.sub(r"<[^>]+>", " ", page.content.decode())
    return re.sub(r"\s+", " ", text)


def url(clinic: Clinic, name: str = "pool-hour") -> str:
    return reverse(f"clinics:{name}", args=[clinic.pk])


def seventy_five(clinic: Clinic) -> Clinic:
    Clinic.objects.filter(pk=clinic.pk).update(distance_m=75)
    clinic.refresh_from_db()
    return clinic


# --- the hour ---------------------------------------------------------------------------------


def test_forty_are_told_that_they_fit_and_why_and_how_many_more_would(
    cast: Cast, admin: Client
) -> None:
    """By hand: 40 goes of 70 s, seven briefings of 60 s, six changes of 30 s are 3400 s."""
    clinic = seventy_five(crowded(cast.harbour, SIZES_OF_40, [80.0] * 40))
    hour_of(clinic)
    told = words(admin.get(url(clinic)))
    assert (
        "40 swimmers need 57 minutes at their paces. The pool is yours for 60 minutes: "
        "3 minutes spare." in told
    )
    assert "when the one before is out of the lane: every 70 s." in told
    assert "2 more at the pace of group 7 would fit, 3 would not." in told
    assert "A timetable is no leave to start" in told
    assert "70 s from start to start: 1 Swimmer 1 is expected to swim 60 s" in told
    assert "What would make it fit" not in told


def test_sixty_are_told_what_would_make_them_fit(cast: Cast, admin: Client) -> None:
    clinic = seventy_five(crowded(cast.harbour, SIZES_OF_60, [80.0] * 60))
    hour_of(clinic)
    told = words(admin.get(url(clinic)))
    assert "60 swimmers need 85 minutes" in told and "25 minutes too short." in told
    assert "The first 42 in running order fit." in told
    assert "Brief each group on deck while the one before swims. saves 9 minutes" in told
    assert "Ask for 85 minutes of the pool instead of 60." in told
    assert "after the pool time" in told


def test_what_is_kept_back_is_told(cast: Cast, admin: Client) -> None:
    clinic = crowded(cast.harbour, (2,), [80.0, 90.0])
    hour_of(clinic, reserve_s=300)
    told = words(admin.get(url(clinic)))
    assert "The pool is yours for 60 minutes, of which 5 minutes are kept back:" in told


def test_timetable_has_starts_briefings_and_passes(cast: Cast, admin: Client) -> None:
    """Out and back at 80 s per 100 m: by at 10 s and 30 s."""
    clinic = crowded(cast.harbour, (1, 1), [80.0, 80.0])
    make_station(clinic, 1, "deep", "Under water", "underwater")
    hour_of(clinic)
    told = words(admin.get(url(clinic)))
    assert "Briefing 10:30:00 – 10:31:00 First start 10:31:00 Last out 10:31:50" in told
    assert "10:31:10 10:31:30" in told  # at the underwater camera
    assert "Briefing 10:32:20 – 10:33:20" in told


def test_strip_shows_the_time_of_day_and_the_groups(cast: Cast, admin: Client) -> None:
    clinic = crowded(cast.harbour, (1, 1), [80.0, 80.0])
    hour_of(clinic)
    page = admin.get(url(clinic)).content.decode()
    assert ">10:40</text>" in page and 'class="wall"' not in page
    told = re.sub(r"\s+", " ", page)
    assert "10:31 to 10:31: group 1" in told and "11:30: the pool time ends" in told


def test_admin_sets_the_hour_and_bad_times_stay_typed(cast: Cast, admin: Client) -> None:
    assert "Say from when the pool is yours" in words(admin.get(url(cast.clinic)))
    bad = admin.post(url(cast.clinic), {**HOUR, "briefing_s": "4000", "minutes": "x"})
    assert bad.status_code == 422 and 'value="4000"' in bad.content.decode()
    bad = admin.post(url(cast.clinic), {**HOUR, "reserve_s": "3600"})
    assert "must be less than the 60 minutes of the pool." in words(bad)
    assert not PoolHour.objects.exists()
    done = admin.post(url(cast.clinic), {**HOUR, "briefs_on_deck": "on"}, follow=True)
    assert "The pool hour is planned anew." in words(done)
    assert PoolHour.objects.get().briefs_on_deck


def test_crew_reads_the_timetable_and_changes_nothing(cast: Cast) -> None:
    hour_of(cast.clinic)
    crew = sign_in(Client(), cast.crew)
    page = crew.get(url(cast.clinic))
    assert page.status_code == 200 and 'id="hour-form"' not in page.content.decode()
    assert crew.post(url(cast.clinic), HOUR).status_code == 404
    assert crew.get(url(cast.clinic, "running-order")).status_code == 404


def test_nobody_entered_is_told_the_next_step(cast: Cast, admin: Client) -> None:
    clinic = crowded(cast.harbour, (), [])
    hour_of(clinic)
    assert "Nobody is entered yet." in words(admin.get(url(clinic)))


def test_page_takes_as_many_queries_for_three_as_for_one(
    cast: Cast, admin: Client, django_assert_num_queries: Any
) -> None:
    one, three = (crowded(cast.harbour, (n,), [90.0] * n, f"of-{n}") for n in (1, 3))
    for clinic in (one, three):
        hour_of(clinic)
        for n in range(clinic.entries.count()):
            make_station(clinic, n + 1, f"s-{n}", f"Station {n}", "underwater")
    admin.get(url(one))
    for clinic in (one, three):
        with django_assert_num_queries(12):
            admin.get(url(clinic))
        with django_assert_num_queries(14):
            admin.get(url(clinic, "running-order"))


# --- the running order ------------------------------------------------------------------------


@pytest.fixture
def four(cast: Cast) -> Clinic:
    """Group 1: 1, 2; group 2: 3, 4; the slower group comes first."""
    clinic = crowded(cast.harbour, (2, 2), [90.0, 100.0, 70.0, 60.0])
    hour_of(clinic)
    return clinic


def order(clinic: Clinic) -> list[tuple[str, int]]:
    found = clinic.entries.order_by("lane_group__order", "order")
    return list(found.values_list("lane_group__name", "number"))


def change(client: Client, clinic: Clinic, **said: object) -> Any:
    return client.post(url(clinic, "running-order"), said)


def test_swimmer_goes_up_and_down_and_to_another_group(admin: Client, four: Clinic) -> None:
    done = change(admin, four, act="down", number=1)
    assert done.status_code == 302 and done["Location"].endswith("#n1")
    assert order(four) == [("1", 2), ("1", 1), ("2", 3), ("2", 4)]
    change(admin, four, act="move", number=2, group="2", place=2)
    assert order(four) == [("1", 1), ("2", 3), ("2", 2), ("2", 4)]
    change(admin, four, act="move", number=4, group="+")
    assert order(four) == [("1", 1), ("2", 3), ("2", 2), ("3", 4)]


def test_group_goes_earlier(admin: Client, four: Clinic) -> None:
    change(admin, four, act="group-up", group="2")
    assert order(four) == [("2", 3), ("2", 4), ("1", 1), ("1", 2)]


def test_proposal_changes_nothing_until_it_is_taken_in(admin: Client, four: Clinic) -> None:
    before = order(four)
    page = admin.get(url(four, "running-order")).content.decode()
    assert order(four) == before
    assert "The fastest group first" in page and "The fastest first in each group" in page
    found = re.findall(r'name="order" value="([^"]*)"', page)
    taken = json.loads(found[0].replace("&quot;", '"'))
    assert taken == [["2", [3, 4]], ["1", [1, 2]]]
    change(admin, four, act="take", order=json.dumps(taken))
    assert order(four) == [("2", 3), ("2", 4), ("1", 1), ("1", 2)]


def test_even_groups_are_shown_as_many_as_asked_for(cast: Cast, admin: Client) -> None:
    clinic = crowded(cast.harbour, (9, 3), [90.0 - n for n in range(12)])
    hour_of(clinic)
    page = admin.get(url(clinic, "running-order"), {"groups": "3"})
    assert "Even groups by pace" in words(page) and 'value="3"' in page.content.decode()
    told = words(page)
    assert "12 Swimmer 12, 11 Swimmer 11, 10 Swimmer 10, 9 Swimmer 9" in told
    assert "changes the group" in told or "change the group" in told


@pytest.mark.parametrize(
    ("said", "told"),
    [
        ({"act": "up", "number": 77}, "is not in the running order."),
        ({"act": "group-up", "group": "9"}, "is no group of this clinic."),
        ({"act": "up"}, "Choose what to move."),
        ({"act": "take", "order": "{"}, "This running order cannot be read."),
        ({"act": "take", "order": "[[1]]"}, "This running order cannot be read."),
        ({"act": "take", "order": '[["1", [1, 2, 3]]]'}, "The swimmers have changed meanwhile."),
        ({"act": "take", "order": '[["1", [1, 2]], ["1", [3, 4]]]'}, "a name of its own"),
    ],
)
def test_bad_change_is_told_and_changes_nothing(
    admin: Client, four: Clinic, said: dict[str, object], told: str
) -> None:
    before = order(four)
    page = change(admin, four, **said)
    assert page.status_code == 422 and told in words(page)
    assert order(four) == before


def test_who_has_swum_stays_and_who_was_called_a_no_show_may_move(
    admin: Client, four: Clinic
) -> None:
    tap(four, 1, 60)
    tap(four, 2, 130, "no-show")
    page = change(admin, four, act="move", number=1, group="2")
    assert page.status_code == 422 and "has swum already, and stays in group 1." in words(page)
    change(admin, four, act="move", number=2, group="2", place=1)
    assert order(four) == [("1", 1), ("2", 2), ("2", 3), ("2", 4)]


def test_groups_of_which_somebody_has_swum_stay_in_their_order(admin: Client, four: Clinic) -> None:
    tap(four, 1, 60)
    assert "The fastest group first" in words(admin.get(url(four, "running-order")))
    tap(four, 3, 400)
    page = change(admin, four, act="group-up", group="2")
    assert "Groups of which somebody has swum stay in their order." in words(page)
    assert "The fastest group first" not in words(admin.get(url(four, "running-order")))


def test_closed_clinic_keeps_its_running_order(admin: Client, four: Clinic) -> None:
    Clinic.objects.filter(pk=four.pk).update(state="closed", closed_at=four.created_at)
    page = change(admin, four, act="down", number=1)
    assert page.status_code == 422 and "This clinic is closed" in words(page)
    assert 'name="act"' not in admin.get(url(four, "running-order")).content.decode()


def test_number_of_another_clinic_cannot_be_moved_here(
    cast: Cast, admin: Client, four: Clinic
) -> None:
    other = crowded(cast.quillmoor, (1,), [80.0], "quillmoor-one")
    assert change(admin, other, act="up", number=1).status_code == 404
    assert order(other) == [("1", 1)]
