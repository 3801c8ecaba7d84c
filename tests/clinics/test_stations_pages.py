"""The pages of stations: what they say in words, forms without a script, undo, parts for the
script, and how many questions they ask the database.

Outside evidence: Snell's law, sin(air) = n * sin(water), with water's n against air at 5893 Å of
1.3330 at 20 °C (scubageek.com/articles/wwwh2o.html, table 1); angles of view at 36 mm as a
converter prints them (conversionencyclopedia.com, focal length to horizontal angle of view, full
frame). The flat port's angles below are computed from the former and not published themselves.
"""

from __future__ import annotations

import html
import math
import re
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from clinics.models import Clinic, Station, VenueSheet
from tests.cast import Cast, make_clinic, make_station, sign_in

PARTS = {"X-Plan": "parts"}
N_WATER = 1.3330


@pytest.fixture(autouse=True)
def without_second_factor(settings: Any) -> None:
    settings.SECOND_FACTOR_REQUIRED = False


@pytest.fixture
def admin(cast: Cast) -> Client:
    return sign_in(Client(), cast.admin)


@pytest.fixture
def url(cast: Cast) -> str:
    Station.objects.filter(pk=cast.underwater.pk).update(y_m=5.0, angle_deg=45.0)
    return reverse("clinics:stations", args=[cast.clinic.pk])


def words(answer: Any) -> str:
    """The page as somebody reads it."""
    text = re.sub(r"<[^>]*>", " ", answer.content.decode())
    return re.sub(r"\s+", " ", html.unescape(text))


def move(client: Client, station: Station, **fields: object) -> Any:
    place = {"x_m": 12.5, "y_m": 5, "z_m": -0.5, "bearing_deg": "", **fields}
    headers = PARTS if fields.pop("parts", False) else {}
    return client.post(reverse("clinics:station-move", args=[station.pk]), place, headers=headers)


def change(client: Client, station: Station, **fields: object) -> Any:
    usual = {"name": station.name, "kind": station.kind, "fixed_mount": "yes", **fields}
    return client.post(reverse("clinics:station", args=[station.pk]), usual)


# --- what is said -------------------------------------------------------------------------------


def test_the_page_says_what_the_lens_sees_and_what_to_do(
    cast: Cast, admin: Client, url: str
) -> None:
    said = words(admin.get(url))
    assert (
        "Under water this lens sees 2.25 m at 3.75 m; a swimmer with arms stretched is about "
        "2.3 m. Go to the rope between lanes 3 and 4, or set the lens wider: 47° in air." in said
    )
    assert "Rope 1/2 hangs between this camera and the swum lane, and hides the swimmer." in said
    assert "Nobody has said how wide this lens sees. 60° is taken." in said  # of the start side
    assert "2 stations need a look" in said
    VenueSheet.objects.create(clinic=cast.clinic, ropes_out=[1], lanes=6)
    said = words(admin.get(url))
    assert "No rope hangs between it and the swum lane." in said
    assert "rope taken out" in said and "kept clear for the view" in said


def test_what_falls_short_is_not_rounded_up_to_enough(cast: Cast, admin: Client, url: str) -> None:
    """2.2998 m at 3.75 m, sought by bisection: said as 2.29, not as 2.3."""
    need_deg = 2 * math.degrees(math.asin(N_WATER * math.sin(math.atan(2.2998 / 7.5))))
    Station.objects.filter(pk=cast.underwater.pk).update(angle_deg=need_deg)
    assert "Under water this lens sees 2.29 m at 3.75 m" in words(admin.get(url))


@pytest.mark.parametrize("air_deg", [60.0, 70.0, 90.0, 120.0])
def test_the_page_says_what_a_flat_port_leaves_of_an_angle(
    cast: Cast, admin: Client, url: str, air_deg: float
) -> None:
    """By Snell's law as published, typed into the form and read from the page."""
    done = change(admin, cast.underwater, angle_deg=air_deg, port="flat")
    assert done.status_code == 302
    water_deg = 2 * math.degrees(math.asin(math.sin(math.radians(air_deg / 2)) / N_WATER))
    known_deg = {60.0: 44.06, 70.0: 50.97, 90.0: 64.07, 120.0: 81.04}[air_deg]
    assert water_deg == pytest.approx(known_deg, abs=0.006)
    found = re.search(r"behind a flat port, ([\d.]+)°", words(admin.get(url)))
    assert found and float(found[1]) == pytest.approx(water_deg, abs=0.051)


def test_the_width_that_the_page_says_is_trigonometry_of_that_angle(
    cast: Cast, admin: Client, url: str
) -> None:
    change(admin, cast.underwater, angle_deg=90.0, port="flat")
    found = re.search(r"lens sees ([\d.]+) m at ([\d.]+) m", words(admin.get(url)))
    half = math.asin(math.sin(math.radians(45.0)) / N_WATER)
    assert found and float(found[2]) == 3.75
    assert float(found[1]) == pytest.approx(2 * 3.75 * math.tan(half), abs=0.006)
    change(admin, cast.underwater, angle_deg=90.0, port="dome")
    assert "Under water this lens sees 7.5 m at 3.75 m" in words(admin.get(url))


def test_figures_are_written_as_the_readers_language_does(
    cast: Cast, admin: Client, url: str
) -> None:
    admin.cookies["language"] = "fr"
    said = admin.get(url, headers={"accept-language": "fr"}).content.decode()
    assert 'viewBox="0 0 ' in said and "3,75" in said
    svg = said[said.index("<svg") : said.index("</svg>")]
    numbers = re.findall(r' (?:x|y|cx|cy|r|font-size|data-x)="([^"]*)"', svg)
    assert numbers and all(re.fullmatch(r"-?[\d.]+", number) for number in numbers)


def test_a_page_of_one_station_asks_as_much_as_of_three(
    cast: Cast, django_assert_num_queries: Any
) -> None:
    clinic = make_clinic(cast.harbour, "third", "Third clinic")
    make_station(clinic, 1, "start-side", "Start side", "start-side")
    client, url = sign_in(Client(), cast.admin), reverse("clinics:stations", args=[clinic.pk])
    client.get(url)
    with django_assert_num_queries(14):
        client.get(url)
    for order, kind in ((2, "underwater"), (3, "deck")):
        make_station(clinic, order, kind, kind.title(), kind)
    with django_assert_num_queries(14):
        assert client.get(url).content.count(b'class="station"') == 3 * 3  # in three sizes


# --- moving without a script --------------------------------------------------------------------


def test_figures_are_typed_and_undone_without_a_script(cast: Cast, admin: Client, url: str) -> None:
    done = move(admin, cast.underwater, y_m=7.5, z_m=-0.8, bearing_deg=-95)
    assert done["Location"] == f"{url}#station-{cast.underwater.pk}"
    said = words(admin.get(url))
    assert "Underwater 12.5 m: 12.5 m along, 7.5 m across, 0.8 m under water." in said
    assert "Undo: Underwater 12.5 m back to 12.5 m along, 5 m across" in said
    undone = admin.post(reverse("clinics:stations-undo", args=[cast.clinic.pk]), follow=True)
    assert "Underwater 12.5 m is back where it was." in words(undone)
    assert "Undo:" not in words(undone)
    cast.underwater.refresh_from_db()
    assert (cast.underwater.y_m, cast.underwater.bearing_deg) == (5.0, None)
    again = admin.post(reverse("clinics:stations-undo", args=[cast.clinic.pk]))
    assert again.status_code == 422 and "There is nothing to undo." in words(again)


def test_moves_are_undone_one_by_one_and_each_person_undoes_their_own(
    cast: Cast, admin: Client, url: str
) -> None:
    move(admin, cast.underwater, x_m=10)
    move(admin, cast.start_side, x_m=4, y_m=-2, z_m=1.6)
    undo = reverse("clinics:stations-undo", args=[cast.clinic.pk])
    other = sign_in(Client(), cast.admin)
    assert other.post(undo).status_code == 422
    admin.post(undo)
    admin.post(undo)
    cast.underwater.refresh_from_db()
    cast.start_side.refresh_from_db()
    assert (cast.underwater.x_m, cast.start_side.x_m) == (12.5, 3.0)
    move(admin, cast.underwater, x_m=11)
    move(other, cast.underwater, x_m=13)
    refused = admin.post(undo)
    assert refused.status_code == 422 and "has been moved since then" in words(refused)
    cast.underwater.refresh_from_db()
    assert cast.underwater.x_m == 13.0


def test_what_was_filmed_already_is_fitted_again_after_a_move(
    cast: Cast, admin: Client, url: str
) -> None:
    admin.post(url, {"name": "Deck", "kind": "deck"})
    assert words(admin.get(url)).count("after a change fit the clocks again") == 2  # not the deck


def test_where_it_may_not_stand_is_said(cast: Cast, admin: Client, url: str) -> None:
    done = admin.get(move(admin, cast.start_side, x_m=3, y_m=1.0, z_m=1.6)["Location"])
    assert "That is as near as a station of its kind may stand." in words(done)
    cast.start_side.refresh_from_db()
    assert cast.start_side.y_m == 0.0


@pytest.mark.parametrize(
    ("fields", "told"),
    [
        ({"x_m": "far"}, "Along, m Enter a number."),
        ({"x_m": "99"}, "Along, m 99 is outside -20 to 45."),
        ({"z_m": "nan"}, "Height, m Enter a number."),
        ({"bearing_deg": "720"}, "Looks towards, degrees 720 is outside -360 to 360."),
    ],
)
def test_bad_figures_stay_typed_and_are_named(
    cast: Cast, admin: Client, url: str, fields: dict[str, str], told: str
) -> None:
    page = move(admin, cast.underwater, **fields)
    assert page.status_code == 422 and told in words(page)
    (typed,) = fields.values()
    assert f'value="{typed}"' in page.content.decode()
    cast.underwater.refresh_from_db()
    assert cast.underwater.x_m == 12.5


def test_the_script_gets_the_parts_that_a_move_changes(cast: Cast, admin: Client, url: str) -> None:
    parts = move(admin, cast.underwater, y_m=7.5, parts=True).content.decode()
    names = re.findall(r'data-part="([^"]+)"', parts)
    stations = [f"told-{pk}" for pk in (cast.start_side.pk, cast.underwater.pk)]
    assert names == ["said", "summary", "plan", "undo", *stations]
    assert "<html" not in parts and "sees 3.7" in parts
    bad = move(admin, cast.underwater, y_m=500, parts=True)
    assert bad.status_code == 422 and b"data-bad" in bad.content


def test_a_viewer_sees_the_plan_and_nothing_to_change_it_with(cast: Cast, url: str) -> None:
    page = sign_in(Client(), cast.coach).get(url).content.decode()
    assert (
        "<svg" in page
        and "data-plan-moves" not in page
        and "<form method" not in page[page.index("<main") : page.index("</main>")]
    )


def test_a_closed_clinic_shows_its_plan_and_refuses(cast: Cast, admin: Client, url: str) -> None:
    Clinic.objects.filter(pk=cast.clinic.pk).update(state="closed", closed_at=timezone.now())
    page = admin.get(url)
    assert "data-plan-moves" not in page.content.decode() and "is closed" in words(page)
    for answer in (
        move(admin, cast.underwater),
        admin.post(url, {"name": "More", "kind": "deck"}),
        change(admin, cast.underwater, angle_deg=50),
    ):
        assert answer.status_code == 422 and "This clinic is closed" in words(answer)


# --- adding, cameras, removing ------------------------------------------------------------------


def test_a_station_is_added_changed_and_removed(cast: Cast, admin: Client, url: str) -> None:
    page = admin.post(url, {"name": "Deck", "kind": "deck"}, follow=True)
    assert "Deck is on the plan." in words(page)
    deck = cast.clinic.stations.get(kind="deck")
    facts = {"angle_deg": 40, "bit_rate": "1080i-best", "card_gb": 64, "battery_min": 110}
    done = change(admin, deck, **facts, name="Deck, walks", fixed_mount="no", hears_start="on")
    assert done.status_code == 302
    deck.refresh_from_db()
    assert (deck.name, deck.fixed_mount, deck.hears_start) == ("Deck, walks", False, True)
    assert {name: getattr(deck, name) for name in facts} == facts
    form = admin.get(reverse("clinics:station", args=[deck.pk])).content.decode()
    assert 'value="40.0"' in form and 'value="1080i-best" selected' in form
    gone = admin.post(reverse("clinics:station-remove", args=[deck.pk]), follow=True)
    assert "Deck, walks is off the plan." in words(gone)
    kept = admin.post(reverse("clinics:station-remove", args=[cast.underwater.pk]), follow=True)
    assert "Underwater 12.5 m has recordings already, so it stays." in words(kept)
    assert cast.clinic.stations.count() == 2


def test_six_stations_are_the_most(cast: Cast, admin: Client, url: str) -> None:
    for n in range(4):
        assert admin.post(url, {"name": f"Deck {n}", "kind": "deck"}).status_code == 302
    page = admin.get(url)
    assert "Add a station" not in words(page)
    assert admin.post(url, {"name": "Seventh", "kind": "deck"}).status_code == 422


@pytest.mark.parametrize(
    ("focal_mm", "published_deg"), [(14, 104.250033), (24, 73.739795), (50, 39.597753)]
)
def test_the_angle_is_found_from_a_focal_length(
    cast: Cast, admin: Client, focal_mm: int, published_deg: float
) -> None:
    assert change(admin, cast.start_side, focal_mm=focal_mm).status_code == 302
    cast.start_side.refresh_from_db()
    assert cast.start_side.angle_deg == pytest.approx(published_deg, abs=1e-5)


def test_the_angle_is_found_from_a_width_at_a_distance(cast: Cast, admin: Client, url: str) -> None:
    """In air 2 m at 1 m are 90°; what is seen under water is put back into air by Snell."""
    change(admin, cast.start_side, width_m=2, at_m=1)
    cast.start_side.refresh_from_db()
    assert cast.start_side.angle_deg == pytest.approx(90.0, abs=0.01)
    seen = 2 * math.tan(math.radians(44.06 / 2))
    change(admin, cast.underwater, width_m=seen, at_m=1, in_water="on", angle_deg=45)
    cast.underwater.refresh_from_db()
    assert cast.underwater.angle_deg == pytest.approx(60.0, abs=0.01)
    wide = change(admin, cast.underwater, width_m=3, at_m=1, in_water="on")
    assert "No lens sees so wide through a flat port." in words(wide)


@pytest.mark.parametrize(
    ("fields", "told"),
    [
        ({"angle_deg": 50, "focal_mm": 28}, "Give the angle of view in one way"),
        ({"focal_mm": 28, "width_m": 2, "at_m": 1}, "Give the angle of view in one way"),
        ({"width_m": 2}, "width and its distance go together"),
        ({"angle_deg": 165}, "165 is outside 2 to 160."),
        ({"focal_mm": 5000}, "5000 is outside 1 to 1000."),
        ({"width_m": 900, "at_m": 1}, "That would be an angle of 180 degrees."),
        ({"card_gb": 0}, "greater than or equal to 0.1"),
        ({"name": ""}, "This field is required."),
    ],
)
def test_what_cannot_be_meant_of_a_camera_is_said_at_its_field(
    cast: Cast, admin: Client, url: str, fields: dict[str, object], told: str
) -> None:
    page = change(admin, cast.underwater, **fields)
    assert page.status_code == 422 and told in words(page)
    cast.underwater.refresh_from_db()
    assert cast.underwater.angle_deg == 45.0


def test_a_focal_length_replaces_an_angle_that_was_kept(
    cast: Cast, admin: Client, url: str
) -> None:
    """The form has the angle of 45° in it as it was; that is no second way."""
    assert change(admin, cast.underwater, angle_deg=45.0, focal_mm=24).status_code == 302
    cast.underwater.refresh_from_db()
    assert cast.underwater.angle_deg == pytest.approx(73.739795, abs=1e-5)
