"""What a station must bring: figures, ticks, who may. A recording of m minutes at b Mbit/s has
m * 60 * b / 8 megabytes; reserves and minutes before and after are common practice, no source."""

from __future__ import annotations

import datetime as dt
import re
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from clinics.actions.errors import BadInput
from clinics.actions.kit import kits_of, tick, untick
from clinics.compute.station_needs import kit as kit_list
from clinics.management.demo_stations import stations_in_demo
from clinics.models import Clinic, Entry, KitTick, LaneGroup, PoolHour, Station
from portal.models import AuditEntry
from tests.cast import Cast, make_station, sign_in
from tests.clinics.test_stations_pages import words


@pytest.fixture(autouse=True)
def without_second_factor(settings: Any) -> None:
    settings.SECOND_FACTOR_REQUIRED = False


def kit_url(station: Station) -> str:
    return reverse("clinics:station-kit", args=[station.pk])


def say(station: Station, **fields: object) -> None:
    Station.objects.filter(pk=station.pk).update(**fields)


# --- figures -------------------------------------------------------------------------------------


def test_battery_and_card_follow_the_pool_hour_and_the_mode(cast: Cast) -> None:
    """60 min at 17 Mbit/s without anything said; 45 min at 28 once it is."""
    (kit,) = kits_of(cast.clinic, [cast.underwater])
    assert (kit.hour_said, kit.rate_said, kit.needs.minutes) == (False, False, 75.0)
    assert kit.needs.card_gb == pytest.approx(75 * 60 * 17 / 8000 * 1.25)
    PoolHour.objects.create(clinic=cast.clinic, begins=dt.time(10), minutes=45)
    say(cast.underwater, bit_rate="1080p60", card_gb=8, battery_min=90)
    cast.underwater.refresh_from_db()
    (kit,) = kits_of(cast.clinic, [cast.underwater])
    assert (kit.hour_said, kit.rate_said, kit.needs.minutes) == (True, True, 60.0)
    assert kit.needs.card_gb == pytest.approx(60 * 60 * 28 / 8000 * 1.25)
    assert kit.needs.battery_min == pytest.approx(90.0)
    assert [one.thing for one in kit.short] == ["card"] and kit.card.pieces == 2


def test_a_start_camera_is_started_anew_for_each_lane_group_that_swims(cast: Cast) -> None:
    for order, name in enumerate("BCD", start=2):
        group = LaneGroup.objects.create(clinic=cast.clinic, name=name, order=order)
        if name != "D":  # nobody is in D
            Entry.objects.filter(clinic=cast.clinic, number=order).update(lane_group=group)
    start, water = kits_of(cast.clinic, [cast.start_side, cast.underwater])
    assert (start.takes, water.takes) == (3, 1)
    assert (start.needs.files, water.needs.files) == (3, 3)  # 9.6 GB in parts below 4 GiB
    page = sign_in(Client(), cast.crew).get(kit_url(cast.start_side))
    assert "The camera is started anew for each of the 3 lane groups." in words(page)


def test_the_page_says_what_is_short_and_how_many_would_do(cast: Cast) -> None:
    say(cast.underwater, card_gb=8, battery_min=60, bit_rate="1080i")
    said = words(sign_in(Client(), cast.crew).get(kit_url(cast.underwater)))
    assert "75 minutes: 60 of pool time, 10 before and 5 after." in said
    assert "Battery for 113 minutes: 75 recorded, and half again in reserve." in said
    assert "One lasts 60 minutes, 53 too few: bring 2, charged." in said
    assert "Room on the card for 12 GB: 9.6 recorded, and a quarter more in reserve." in said
    assert "One card holds 8 GB, 4 GB too little: bring 2." in said
    assert "It makes 3 files." in said
    assert "Own deck markers on this course, from the start wall: 5, 10, 15, 20 m." in said
    say(cast.underwater, card_gb=64, battery_min=120)
    said = words(sign_in(Client(), cast.crew).get(kit_url(cast.underwater)))
    assert "One card holds 64 GB." in said and "too little" not in said
    assert "One lasts 120 minutes." in said


def test_the_list_of_stations_says_how_far_each_kit_is(cast: Cast) -> None:
    tick(station=cast.underwater, key="camera", by=cast.crew)
    say(cast.underwater, battery_min=60)
    page = sign_in(Client(), cast.coach).get(reverse("clinics:stations", args=[cast.clinic.pk]))
    assert "Kit: 1 of 17 ticked. battery too short" in words(page)


def test_a_kit_page_asks_as_much_of_one_station_as_of_three(
    cast: Cast, django_assert_num_queries: Any
) -> None:
    client = sign_in(Client(), cast.crew)
    client.get(kit_url(cast.underwater))
    with django_assert_num_queries(12):
        client.get(kit_url(cast.underwater))
    make_station(cast.clinic, 3, "deck", "Deck", "deck")
    for item in kit_list("underwater"):
        tick(station=cast.underwater, key=item.key, by=cast.crew)
    with django_assert_num_queries(12):
        client.get(kit_url(cast.underwater))


# --- ticks ---------------------------------------------------------------------------------------


def test_a_tick_says_who_and_when_and_stays_with_the_first(cast: Cast) -> None:
    tick(station=cast.underwater, key="o-ring", by=cast.crew)
    tick(station=cast.underwater, key="o-ring", by=cast.admin)
    row = KitTick.objects.get()
    assert (row.by, row.station, row.key) == (cast.crew, cast.underwater, "o-ring")
    assert abs(row.at - timezone.now()) < dt.timedelta(minutes=1)
    untick(station=cast.underwater, key="o-ring", by=cast.admin)
    untick(station=cast.underwater, key="o-ring", by=cast.admin)
    assert not KitTick.objects.exists()
    acts = AuditEntry.objects.filter(action__startswith="kit.").order_by("seq")
    assert [entry.action for entry in acts] == ["kit.tick", "kit.untick"]


def test_what_is_not_on_the_list_is_not_ticked(cast: Cast) -> None:
    with pytest.raises(BadInput, match="on the list no more"):
        tick(station=cast.start_side, key="o-ring", by=cast.crew)  # of a housing
    Clinic.objects.filter(pk=cast.clinic.pk).update(state="closed", closed_at=timezone.now())
    with pytest.raises(BadInput, match="closed"):
        tick(station=cast.underwater, key="o-ring", by=cast.crew)
    assert not KitTick.objects.exists()


def test_ticks_of_a_list_that_has_changed_are_not_counted(cast: Cast) -> None:
    tick(station=cast.underwater, key="o-ring", by=cast.crew)
    tick(station=cast.underwater, key="camera", by=cast.crew)
    say(cast.underwater, kind="deck")
    cast.underwater.refresh_from_db()
    (kit,) = kits_of(cast.clinic, [cast.underwater])
    assert kit.ticked == 1


def test_crew_and_admins_tick_and_a_coach_reads(cast: Cast) -> None:
    url = kit_url(cast.underwater)
    for person, may in ((cast.crew, True), (cast.admin, True), (cast.coach, False)):
        client = sign_in(Client(), person)
        page = client.get(url).content.decode()
        assert ('class="tick"' in page) is may
        answer = client.post(url, {"on": "camera"})
        assert answer.status_code == (302 if may else 404)
    page = sign_in(Client(), cast.coach).get(url)
    assert "packed, Petra Voss" in words(page) and "1 of 17 ticked." in words(page)


def test_cautions_are_read_not_packed_and_nothing_is_called_safe(cast: Cast) -> None:
    client = sign_in(Client(), cast.crew)
    client.post(kit_url(cast.underwater), {"on": "watcher"})
    page = client.get(kit_url(cast.underwater))
    text = page.content.decode()
    assert "read, Petra Voss" in words(page)
    assert 'aria-label="read: If somebody holds the camera' in text
    assert text.index("To read") < text.index("If somebody holds the camera")
    assert "The pool operator, local codes and licensed practice come before them." in words(page)
    assert not re.search(r"\bsafe\b", words(page))


def test_a_tick_that_is_on_no_list_is_said_on_the_page(cast: Cast) -> None:
    client = sign_in(Client(), cast.crew)
    for said in ({"on": "crocodile"}, {}):
        answer = client.post(kit_url(cast.underwater), said)
        assert answer.status_code == 422 and "on the list no more" in words(answer)


# --- the demo ------------------------------------------------------------------------------------


def test_the_demos_cameras_are_said_once(cast: Cast) -> None:
    for order, kind in ((3, "turn-window"), (4, "deck")):
        make_station(cast.clinic, order, kind, kind.title(), kind)
    say(cast.underwater, y_m=5.0)
    for _again in range(2):
        stations_in_demo(cast.clinic, by=cast.admin)
    assert not cast.clinic.stations.filter(angle_deg=None).exists()
    assert cast.clinic.stations.get(kind="deck").fixed_mount is False
    assert KitTick.objects.filter(station=cast.underwater).count() == 5
    page = sign_in(Client(), cast.admin).get(reverse("clinics:stations", args=[cast.clinic.pk]))
    assert "Under water this lens sees 2.25 m at 3.75 m" in words(page)
