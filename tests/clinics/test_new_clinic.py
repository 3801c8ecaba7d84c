"""A clinic planned by a form: alone, as an earlier one, with a visiting team; its facts changed."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from clinics.actions.close_clinic import close_clinic
from clinics.actions.errors import BadInput
from clinics.actions.new_clinic import (
    Facts,
    Visitor,
    facts_of,
    free_slug,
    new_clinic,
    set_facts,
)
from clinics.actions.pool_hour import set_pool_hour
from clinics.actions.tasks import tasks_of
from clinics.actions.tasks_acts import add_task, move_task, tick_task
from clinics.actions.venue import put_venue
from clinics.models import CautionRead, Clinic, Duty, KitTick, PoolHour, Station, VenueSheet
from portal.models import Membership, OutboxMail
from tests.cast import Cast, make_clinic, make_member, sign_in

pytestmark = pytest.mark.django_db
DAY = timezone.now().date() + dt.timedelta(days=90)
FACTS = Facts(
    name="Spring clinic",
    venue="Millrace Baths",
    date=DAY,
    time_zone="Europe/Dublin",
    course_m=25.0,
    distance_m=50.0,
    air_temperature_c=27.0,
)
SAID = {
    "name": "Spring clinic",
    "venue": "Millrace Baths",
    "date": DAY.isoformat(),
    "time_zone": "Europe/Dublin",
    "course_m": "25",
    "distance_m": "75",
    "air_temperature_c": "27.5",
    "give": "at_once",
    "runs": "club",
}


@pytest.fixture(autouse=True)
def without_second_factor(settings: Any) -> None:
    settings.SECOND_FACTOR_REQUIRED = False


@pytest.fixture
def earlier(cast: Cast) -> Clinic:
    """A whole clinic: swum at, with a venue sheet, hour, tasks, ticks, masks and a team."""
    clinic = cast.clinic
    Station.objects.filter(pk=cast.underwater.pk).update(
        fixed_mount=False, angle_deg=90, port="flat", card_gb=64, windows=[{"pass": 1}]
    )
    Duty.objects.create(clinic=clinic, user=cast.crew, kind="operator", station=cast.underwater)
    Duty.objects.create(clinic=clinic, user=cast.crew, kind="logger")
    said = {"operator": "Millrace Leisure", "lanes": 6, "permission": "asked"}
    put_venue(clinic=clinic, values={**said, "lifeguard": "Aoife Brandt"}, by=cast.admin)
    hour = {"begins": dt.time(9, 30), "minutes": 45, "rest_s": 240}
    set_pool_hour(clinic=clinic, values=hour, by=cast.admin)
    move_task(clinic=clinic, key="numbers", day=clinic.date - dt.timedelta(days=5), by=cast.admin)
    add_task(clinic=clinic, words="Cake", day=clinic.date, for_role="crew", by=cast.admin)
    tick_task(clinic=clinic, key="permission", by=cast.admin)
    KitTick.objects.create(station=cast.underwater, key="camera", by=cast.crew)
    CautionRead.objects.create(
        clinic=clinic, topic="start", text_sha256="0" * 64, user=cast.crew, name="Petra Voss"
    )
    clinic.most_dives_each = 20
    clinic.save()
    return clinic


def planned(cast: Cast, facts: Facts = FACTS, **more: Any) -> Clinic:
    return new_clinic(club=cast.harbour, facts=facts, by=cast.admin, **more)[0]


# --- alone ----------------------------------------------------------------------------------------


def test_new_clinic_has_its_facts_and_stations_to_begin_with(cast: Cast) -> None:
    clinic = planned(cast, stations=[("Start side", "start-side"), ("Deck", "deck")])
    assert facts_of(clinic) == FACTS
    assert (clinic.state, clinic.slug) == ("planned", f"spring-clinic-{DAY:%Y-%m}")
    assert list(clinic.stations.values_list("slug", "cameras__name")) == [
        ("start-side", "Start side"),
        ("deck", "Deck"),
    ]
    assert not clinic.entries.exists() and not clinic.duties.exists()


def test_short_name_is_made_from_name_and_month_and_is_free(cast: Cast) -> None:
    month = f"{DAY:%Y-%m}"
    assert free_slug("Printemps à l’eau", DAY) == f"printemps-a-leau-{month}"
    assert free_slug("水泳", DAY) == f"clinic-{month}"
    assert len(free_slug("n" * 120, DAY)) <= 50
    assert planned(cast).slug != planned(cast).slug
    assert planned(cast, slug="my-own").slug == "my-own"


def test_everything_that_is_wrong_is_named_and_nothing_is_made(cast: Cast) -> None:
    wrong = replace(
        FACTS,
        name=" ",
        time_zone="Europe/Millrace",
        course_m=3.0,
        distance_m=float("nan"),
        air_temperature_c=90.0,
        give="never",
    )
    with pytest.raises(BadInput) as caught:
        planned(cast, wrong, slug=cast.other_clinic.slug)
    assert [where for where, _told in caught.value.errors] == [
        "name",
        "time_zone",
        "course_m",
        "distance_m",
        "air_temperature_c",
        "give",
        "slug",
    ]
    assert Clinic.objects.count() == 2


def test_only_an_admin_plans_and_only_as_a_clinic_of_the_club(cast: Cast) -> None:
    for person in (cast.coach, cast.crew, cast.other_admin):
        with pytest.raises(PermissionDenied):
            new_clinic(club=cast.harbour, facts=FACTS, by=person)
    with pytest.raises(PermissionDenied):
        planned(cast, like=cast.other_clinic)


# --- as an earlier one ----------------------------------------------------------------------------


def test_as_an_earlier_clinic_takes_along_what_a_place_and_a_team_are(
    cast: Cast, earlier: Clinic
) -> None:
    clinic = planned(cast, like=earlier)
    water = clinic.stations.get(slug="underwater")
    assert (water.fixed_mount, water.angle_deg, water.port, water.card_gb) == (
        False,
        90,
        "flat",
        64,
    )
    assert [camera.name for camera in water.cameras.all()] == ["Camera 1"]
    assert water.windows == [{"pass": 1}]  # the same course and distance
    assert [group.name for group in clinic.lane_groups.all()] == ["A"]
    held = {(duty.user, duty.kind, duty.station) for duty in clinic.duties.all()}
    assert held == {
        (cast.checker, "checker", None),
        (cast.crew, "logger", None),
        (cast.crew, "operator", water),
    }
    hour = PoolHour.objects.get(clinic=clinic)
    assert (hour.begins, hour.minutes, hour.rest_s) == (dt.time(9, 30), 45, 240)
    venue = VenueSheet.objects.get(clinic=clinic)
    assert (venue.operator, venue.lanes) == ("Millrace Leisure", 6)
    due = {line.due.task.words: line.due.day for line in tasks_of(clinic)}
    assert due["Cake"] == DAY and due["Print the number cards"] == DAY - dt.timedelta(days=5)


def test_people_permissions_and_ticks_are_never_taken_along(cast: Cast, earlier: Clinic) -> None:
    clinic = planned(cast, like=earlier)
    assert not clinic.entries.exists()
    assert not clinic.cautions_read.exists()
    assert not KitTick.objects.filter(station__clinic=clinic).exists()
    assert not clinic.tasks.filter(done_at__isnull=False).exists()
    venue = VenueSheet.objects.get(clinic=clinic)
    assert (venue.permission, venue.lifeguard) == ("not-asked", "")
    assert clinic.most_dives_each is None  # agreed with that day's lifeguard
    assert not clinic.stations.filter(recordings__isnull=False).exists()


def test_who_will_not_work_for_the_club_then_is_left_out_and_named(
    cast: Cast, earlier: Clinic
) -> None:
    Membership.objects.filter(user=cast.crew).update(until_date=DAY - dt.timedelta(days=1))
    clinic, copied = new_clinic(club=cast.harbour, facts=FACTS, by=cast.admin, like=earlier)
    assert copied is not None and copied.left_out == ("Petra Voss",)
    assert [duty.user for duty in clinic.duties.all()] == [cast.checker]


def test_another_pool_and_course_take_along_what_still_holds(cast: Cast, earlier: Clinic) -> None:
    Station.objects.filter(pk=cast.start_side.pk).update(x_m=24.5)
    facts = replace(FACTS, venue="Quillmoor Pool", course_m=50.0, distance_m=100.0)
    clinic = planned(cast, facts, like=earlier)
    assert not VenueSheet.objects.filter(clinic=clinic).exists()
    assert clinic.stations.get(slug="start-side").x_m == 49.5  # at the far wall there, too
    water = clinic.stations.get(slug="underwater")
    assert (water.x_m, water.windows) == (12.5, [])  # seconds of another go
    short = planned(cast, replace(FACTS, course_m=10.0), like=earlier)
    assert short.stations.get(slug="underwater").x_m == 10.0


# --- a visiting team ------------------------------------------------------------------------------


def test_coach_of_a_visiting_team_is_invited_and_the_visit_ends(cast: Cast) -> None:
    visitor = Visitor("edda.varga@quillmoor.example", "Edda Varga")
    clinic = planned(cast, visitor=visitor)
    row = Membership.objects.get(user=cast.other_coach, club=cast.harbour)
    assert (row.role, row.until_date) == ("coach", clinic.date + dt.timedelta(days=28))
    assert "Harbour Lane Masters" in OutboxMail.objects.get().body
    assert Clinic.objects.coached_by(cast.other_coach).filter(pk=clinic.pk).exists()


def test_visit_that_cannot_be_makes_no_clinic(cast: Cast) -> None:
    visitor = Visitor("edda.varga@quillmoor.example", "Edda Varga", DAY - dt.timedelta(days=1))
    with pytest.raises(BadInput):
        planned(cast, visitor=visitor)
    assert Clinic.objects.count() == 2 and not OutboxMail.objects.exists()


# --- facts changed --------------------------------------------------------------------------------


def test_another_day_moves_the_tasks(cast: Cast) -> None:
    clinic = planned(cast)
    before = {line.key: line.due.day for line in tasks_of(clinic)}
    later = replace(FACTS, date=DAY + dt.timedelta(days=7), name="Late spring")
    assert set_facts(clinic=clinic, facts=later, by=cast.admin) == ["name", "date"]
    clinic.refresh_from_db()
    after = {line.key: line.due.day for line in tasks_of(clinic)}
    assert {after[key] - day for key, day in before.items()} == {dt.timedelta(days=7)}
    assert set_facts(clinic=clinic, facts=later, by=cast.admin) == []


def test_facts_of_a_closed_clinic_or_by_somebody_else_stay(cast: Cast) -> None:
    facts = replace(facts_of(cast.clinic), name="Else")
    for person in (cast.coach, cast.crew, cast.other_admin):
        with pytest.raises(PermissionDenied):
            set_facts(clinic=cast.clinic, facts=facts, by=person)
    close_clinic(clinic=cast.clinic, by=cast.admin)
    with pytest.raises(BadInput):
        set_facts(clinic=cast.clinic, facts=facts, by=cast.admin)
    page = sign_in(Client(), cast.admin).get(reverse("clinics:clinic-facts", args=[cast.clinic.pk]))
    assert 'name="course_m"' not in page.content.decode()


# --- pages ----------------------------------------------------------------------------------------


def test_admin_plans_by_the_form(cast: Cast) -> None:
    client, url = sign_in(Client(), cast.admin), reverse("clinics:clinic-new")
    page = client.get(url).content.decode()
    assert "Who comes to run it?" in page and "Europe/Dublin" in page
    said = {**SAID, "club": str(cast.harbour.pk), "stations": ["start-side", "underwater"]}
    bad = client.post(url, {**said, "course_m": "3", "time_zone": "Nowhere/Land"})
    assert bad.status_code == 422 and 'value="Spring clinic"' in bad.content.decode()
    zone = client.post(url, {**said, "time_zone": "Nowhere/Land"}).content.decode()
    assert "“Nowhere/Land” is no time zone" in zone.replace("&quot;", "")
    nobody = client.post(url, {**said, "runs": "visitors"})
    assert nobody.status_code == 422 and "Say who comes" in nobody.content.decode()
    done = client.post(url, said)
    made = Clinic.objects.get(name="Spring clinic")
    assert done["Location"] == reverse("clinics:tasks", args=[made.pk])
    assert (made.distance_m, made.air_temperature_c, made.give) == (75.0, 27.5, "at_once")
    assert list(made.stations.values_list("name", flat=True)) == ["Start side", "Underwater"]


def test_admin_plans_as_an_earlier_clinic(cast: Cast, earlier: Clinic) -> None:
    client = sign_in(Client(), cast.admin)
    url = f"{reverse('clinics:clinic-new')}?like={earlier.pk}"
    page = client.get(url).content.decode()
    assert 'value="Autumn clinic"' in page and "Taken along: 2 stations" in " ".join(page.split())
    assert earlier.date.isoformat() not in page.split('name="date"')[1][:80]
    Membership.objects.filter(user=cast.crew).update(until_date=DAY - dt.timedelta(days=1))
    done = client.post(url, {**SAID, "club": str(cast.harbour.pk)}, follow=True)
    told = done.content.decode()
    assert "will not work for the club then: Petra Voss" in told
    assert Clinic.objects.get(name="Spring clinic").stations.count() == 2
    elsewhere = f"{reverse('clinics:clinic-new')}?like={cast.other_clinic.pk}"
    page = client.get(elsewhere).content.decode()
    assert 'value="Open clinic"' not in page  # as if there were none


def test_admin_of_two_clubs_says_for_which(cast: Cast) -> None:
    make_member(cast.quillmoor, cast.admin, "admin")
    client, url = sign_in(Client(), cast.admin), reverse("clinics:clinic-new")
    assert "Quillmoor Tritons" in client.get(url).content.decode()
    client.post(url, {**SAID, "club": str(cast.quillmoor.pk)})
    assert Clinic.objects.get(name="Spring clinic").club == cast.quillmoor
    like = f"{url}?like={cast.clinic.pk}"  # an earlier clinic's club is the club
    assert client.post(like, {**SAID, "club": str(cast.quillmoor.pk)}).status_code == 422


def test_admin_changes_the_facts_on_their_page(cast: Cast) -> None:
    client = sign_in(Client(), cast.admin)
    url = reverse("clinics:clinic-facts", args=[cast.clinic.pk])
    assert 'value="Autumn clinic"' in client.get(url).content.decode()
    page = client.post(url, {**SAID, "distance_m": "0"})
    assert page.status_code == 422
    done = client.post(url, SAID, follow=True)
    assert "The tasks moved with the day" in done.content.decode()
    cast.clinic.refresh_from_db()
    assert (cast.clinic.name, cast.clinic.date) == ("Spring clinic", DAY)
    assert cast.clinic.slug == "harbour-autumn"  # for files and commands it stays


@pytest.mark.parametrize("many", [1, 3])
def test_form_takes_as_many_queries_for_three_earlier_clinics_as_for_one(
    cast: Cast, many: int, django_assert_num_queries: Any
) -> None:
    for n in range(many - 1):
        make_clinic(cast.harbour, f"earlier-{n}", f"Earlier {n}")
    client = sign_in(Client(), cast.admin)
    url = f"{reverse('clinics:clinic-new')}?like={cast.clinic.pk}"
    client.get(url)
    with django_assert_num_queries(11):
        assert client.get(url).content.decode().count("<option value=") > many
