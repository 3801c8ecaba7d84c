"""Stations that are moved, put back, added, changed and removed: what may not be is refused in
words, and nothing of it is kept. Where stations usually stand is common practice, no source."""

from __future__ import annotations

from typing import Any

import pytest
from django.utils import timezone

from clinics.actions.errors import BadInput
from clinics.actions.stations import Place, move_station, place_of, put_back
from clinics.actions.stations_change import add_station, change_station, remove_station
from clinics.actions.stations_seen import stations_seen
from clinics.compute.sight_cones import Check, State
from clinics.models import Clinic, Station, VenueSheet
from portal.models import AuditEntry
from tests.cast import Cast, make_clinic


@pytest.fixture
def water(cast: Cast) -> Station:
    """Under water, at the second rope; nothing has been filmed there."""
    return Station.objects.create(
        clinic=cast.clinic,
        slug="second",
        name="Second",
        kind="underwater",
        order=3,
        x_m=10.0,
        y_m=5.0,
        z_m=-0.6,
        angle_deg=45.0,
    )


def at(station: Station) -> tuple[float, float, float, float | None]:
    station.refresh_from_db()
    return station.x_m, station.y_m, station.z_m, station.bearing_deg


def close(clinic: Clinic) -> None:
    Clinic.objects.filter(pk=clinic.pk).update(state="closed", closed_at=timezone.now())


def complaints(bad: pytest.ExceptionInfo[BadInput]) -> list[tuple[str, str]]:
    return [(where, str(text)) for where, text in bad.value.errors]


# --- moving ------------------------------------------------------------------------------------


def test_a_station_moves_to_where_one_of_its_kind_may_stand(cast: Cast, water: Station) -> None:
    """Underwater in the water: a move on land ends at the edge."""
    to = Place(12.345, -3.0, -0.6, None)
    was, now = move_station(station=water, to=to, by=cast.admin)
    assert (was.x_m, was.y_m) == (10.0, 5.0)
    assert at(water) == (12.35, 0.0, -0.6, None) == (now.x_m, now.y_m, now.z_m, now.bearing_deg)
    entry = AuditEntry.objects.get(action="station.move")
    assert (entry.actor_id, entry.club_id) == (cast.admin.pk, cast.harbour.pk)


def test_a_turn_window_snaps_to_the_wall_at_the_end_of_a_drag_only(cast: Cast) -> None:
    window = add_station(clinic=cast.clinic, name="Window", kind="turn-window", by=cast.admin)
    near = Place(24.8, 3.0, -0.5, None)
    move_station(station=window, to=near, by=cast.admin)
    assert at(window)[:2] == (24.8, 3.0)
    move_station(station=window, to=near, by=cast.admin, snap=True)
    assert at(window)[:2] == (24.8, 3.0)  # it stands there: nothing was moved
    move_station(station=window, to=Place(24.75, 3.0, -0.5, None), by=cast.admin, snap=True)
    assert at(window)[:2] == (25.0, 3.0)


def test_a_station_that_is_only_turned_stays_where_it_may_not_stand(cast: Cast) -> None:
    """The cast's underwater camera stands on the deck, as an old plan may have it."""
    move_station(station=cast.underwater, to=Place(12.5, -2.0, -0.7, -270.0), by=cast.admin)
    assert at(cast.underwater) == (12.5, -2.0, -0.7, 90.0)
    move_station(station=cast.underwater, to=Place(12.6, -2.0, -0.7, 90.0), by=cast.admin)
    assert at(cast.underwater) == (12.6, 0.0, -0.7, 90.0)


def test_a_move_to_where_it_stands_is_none(cast: Cast, water: Station) -> None:
    was, now = move_station(station=water, to=place_of(water), by=cast.admin)
    assert was is now or was == now
    assert not AuditEntry.objects.filter(action="station.move").exists()


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("x_m", 45.1),
        ("x_m", float("nan")),
        ("y_m", -51.0),
        ("z_m", -7.0),
        ("z_m", float("inf")),
        ("bearing_deg", 361.0),
    ],
)
def test_a_number_that_cannot_be_meant_is_refused_by_its_field(
    cast: Cast, water: Station, field: str, value: float
) -> None:
    numbers: dict[str, Any] = {"x_m": 1.0, "y_m": 1.0, "z_m": -0.5, "bearing_deg": None}
    with pytest.raises(BadInput) as bad:
        move_station(station=water, to=Place(**{**numbers, field: value}), by=cast.admin)
    assert [where for where, _text in complaints(bad)] == [field]
    assert at(water) == (10.0, 5.0, -0.6, None)


def test_a_move_is_put_back_unless_it_was_moved_since(cast: Cast, water: Station) -> None:
    was, now = move_station(station=water, to=Place(12.0, 7.5, -0.6, -80.0), by=cast.admin)
    put_back(station=water, was=was, now=now, by=cast.admin)
    assert at(water) == (10.0, 5.0, -0.6, None)
    was, now = move_station(station=water, to=Place(12.0, 7.5, -0.6, None), by=cast.admin)
    move_station(station=water, to=Place(13.0, 7.5, -0.6, None), by=cast.admin)
    with pytest.raises(BadInput, match="moved since"):
        put_back(station=water, was=was, now=now, by=cast.admin)
    assert at(water)[0] == 13.0


def test_putting_back_leaves_it_where_it_stood_even_where_it_may_not(cast: Cast) -> None:
    was, now = move_station(station=cast.underwater, to=Place(12.5, 3.0, -0.5, None), by=cast.admin)
    put_back(station=cast.underwater, was=was, now=now, by=cast.admin)
    assert at(cast.underwater) == (12.5, -2.0, -0.5, None)


def test_nothing_of_a_closed_clinic_is_changed(cast: Cast, water: Station) -> None:
    close(cast.clinic)
    for act in (
        lambda: move_station(station=water, to=Place(1.0, 1.0, -0.5, None), by=cast.admin),
        lambda: put_back(station=water, was=place_of(water), now=place_of(water), by=cast.admin),
        lambda: add_station(clinic=cast.clinic, name="More", kind="deck", by=cast.admin),
        lambda: change_station(station=water, values={"name": "Else"}, by=cast.admin),
        lambda: remove_station(station=water, by=cast.admin),
    ):
        with pytest.raises(BadInput, match="closed"):
            act()
    assert at(water) == (10.0, 5.0, -0.6, None)
    assert cast.clinic.stations.count() == 3


# --- adding, changing, removing ----------------------------------------------------------------


def test_stations_are_added_where_such_usually_stand(cast: Cast) -> None:
    clinic = make_clinic(cast.harbour, "empty", "Empty clinic")
    VenueSheet.objects.create(clinic=clinic, lanes=4, lane_m=2.0, ropes_out=[1])
    made = [
        add_station(clinic=clinic, name=kind.title(), kind=kind, by=cast.admin)
        for kind in ("start-side", "underwater", "turn-window", "deck", "underwater", "deck")
    ]
    assert [one.order for one in clinic.stations.all()] == [1, 2, 3, 4, 5, 6]
    assert [(one.x_m, one.y_m) for one in made[:4]] == [(2.5, -2), (12.5, 4), (25, 1), (25, -2)]
    assert (made[4].x_m, made[5].x_m) == (14.5, 23.0)  # beside the first of its kind
    assert [one.slug for one in made][3:] == ["deck", "underwater-2", "deck-2"]
    assert [one.z_m < 0 for one in made] == [False, True, True, False, True, False]
    assert not made[1].hears_start and made[0].hears_start
    assert made[1].cameras.get().name == "Underwater"
    for found in stations_seen(clinic).findings.values():
        seen = {one.check: one.state for one in found}
        assert seen[Check.LANE] is State.OK and seen.get(Check.ROPES, State.OK) is State.OK
    with pytest.raises(BadInput, match="one to six"):
        add_station(clinic=clinic, name="Seventh", kind="deck", by=cast.admin)


@pytest.mark.parametrize(("name", "kind"), [(" ", "deck"), ("x" * 81, "deck"), ("Roof", "roof")])
def test_a_station_without_name_or_kind_is_refused(cast: Cast, name: str, kind: str) -> None:
    with pytest.raises(BadInput):
        add_station(clinic=cast.clinic, name=name, kind=kind, by=cast.admin)
    assert cast.clinic.stations.count() == 2


def test_what_is_said_of_a_camera_is_kept_and_the_rest_stays(cast: Cast, water: Station) -> None:
    said = {"angle_deg": 70.0, "port": "dome", "bit_rate": "1080p60", "fixed_mount": False}
    change_station(station=water, values=said, by=cast.admin)
    change_station(station=water, values={"card_gb": 64.0, "battery_min": 90.0}, by=cast.admin)
    water.refresh_from_db()
    assert (water.angle_deg, water.port, water.bit_rate) == (70.0, "dome", "1080p60")
    assert (water.card_gb, water.battery_min, water.fixed_mount) == (64.0, 90.0, False)
    assert (water.name, water.x_m) == ("Second", 10.0)
    change_station(station=water, values={"angle_deg": None, "bit_rate": ""}, by=cast.admin)
    water.refresh_from_db()
    assert (water.angle_deg, water.bit_rate) == (None, "")
    assert AuditEntry.objects.filter(action="station.change").count() == 3


def test_every_field_that_cannot_be_is_named_and_nothing_is_kept(
    cast: Cast, water: Station
) -> None:
    bad_values = {
        "angle_deg": 170.0,
        "port": "glass",
        "bit_rate": "8k",
        "card_gb": 0.0,
        "battery_min": float("nan"),
        "name": "New",
    }
    with pytest.raises(BadInput) as bad:
        change_station(station=water, values=bad_values, by=cast.admin)
    assert {where for where, _text in complaints(bad)} == bad_values.keys() - {"name"}
    with pytest.raises(BadInput, match="not known"):
        change_station(station=water, values={"x_m": 3.0}, by=cast.admin)
    water.refresh_from_db()
    assert (water.name, water.angle_deg, water.x_m) == ("Second", 45.0, 10.0)


def test_another_kind_comes_with_its_height_and_a_place_where_it_may_stand(
    cast: Cast, water: Station
) -> None:
    change_station(station=water, values={"kind": "deck"}, by=cast.admin)
    x_m, y_m, z_m, _bearing = at(water)
    assert z_m == 1.6
    assert y_m == 0.0 or x_m in (0.0, 25.0)  # at an edge of the water


def test_a_station_goes_unless_something_was_filmed_or_it_is_the_last(
    cast: Cast, water: Station
) -> None:
    with pytest.raises(BadInput, match="recordings already"):
        remove_station(station=cast.underwater, by=cast.admin)
    third = add_station(clinic=cast.clinic, name="Third", kind="deck", by=cast.admin)
    remove_station(station=water, by=cast.admin)
    assert [one.order for one in cast.clinic.stations.all()] == [1, 2, 3]
    third.refresh_from_db()
    assert third.order == 3
    with pytest.raises(BadInput, match="removed meanwhile"):
        move_station(station=water, to=Place(1.0, 1.0, -0.5, None), by=cast.admin)
    alone = make_clinic(cast.harbour, "alone", "Alone")
    only = add_station(clinic=alone, name="Only", kind="deck", by=cast.admin)
    with pytest.raises(BadInput, match="at least one"):
        remove_station(station=only, by=cast.admin)
