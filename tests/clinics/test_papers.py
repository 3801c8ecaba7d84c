"""Papers for the day, read back from their PDFs: what stands on them, what does not, who may."""

from __future__ import annotations

import datetime as dt
import io
import re
import uuid
from collections.abc import Iterator
from typing import Any

import pypdf
import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from pypdf.generic import ContentStream

from clinics.models import (
    Clinic,
    Consent,
    Duty,
    Entry,
    KitTick,
    LaneGroup,
    PoolHour,
    Station,
    Swimmer,
    VenueSheet,
)
from tests.cast import Cast, make_entry, sign_in

LONG = "Wilhelmina-Anastasia Featherstonehaugh-Cholmondeley of Upper Quillmoor " + "Ox" * 24
A4_PT = (595, 842)


@pytest.fixture
def client(cast: Cast) -> Iterator[Client]:
    yield sign_in(Client(), cast.crew)


def paper(client: Client, clinic: Clinic, name: str, query: str = "") -> pypdf.PdfReader:
    answer = client.get(reverse(f"clinics:{name}", args=[clinic.pk]) + query)
    assert answer.status_code == 200, answer.status_code
    assert answer["Content-Type"] == "application/pdf" and "no-store" in answer["Cache-Control"]
    return pypdf.PdfReader(io.BytesIO(answer.content))


def texts(pdf: pypdf.PdfReader) -> list[str]:
    return [re.sub(r"\s+", " ", page.extract_text()) for page in pdf.pages]


def text(pdf: pypdf.PdfReader) -> str:
    return " ".join(texts(pdf))


def plan_hour(clinic: Clinic, minutes: int = 60) -> PoolHour:
    return PoolHour.objects.create(clinic=clinic, begins=dt.time(10, 0), minutes=minutes)


def enter(clinic: Clinic, count: int, groups: int, name: str = "") -> None:
    """More swimmers, numbered on from 100, in so many groups."""
    for group_no in range(groups):
        LaneGroup.objects.create(clinic=clinic, name=f"Lane {group_no + 2}", order=group_no + 2)
    lanes = list(clinic.lane_groups.filter(order__gte=2))
    for place in range(count):
        swimmer = Swimmer.objects.create(club=clinic.club, name=name or f"Swimmer {place:02d}")
        Entry.objects.create(
            clinic=clinic,
            swimmer=swimmer,
            number=100 + place,
            lane_group=lanes[place % groups],
            order=100 + place,
            stroke="backstroke",
            start="water",
            pace_s_per_100m=80 + place,
        )


# --- running order ------------------------------------------------------------------------------


def test_the_running_order_has_the_timetable_by_the_minute(cast: Cast, client: Client) -> None:
    plan_hour(cast.clinic)
    told = text(paper(client, cast.clinic, "running-order-pdf"))
    # 60 s of briefing, then 50 m at 90 s per 100 m and 10 s to climb out: 55 s from start to start
    assert "10:01:00 Tomas Birk" in told and "10:01:55 Wren Okada" in told
    assert "no leave to start" in told and "Destroy this paper" in told and "As of" in told
    assert "agree" not in told.replace("Who agreed to be filmed stands on a paper", "")


def test_without_a_pool_hour_the_order_stands_alone(cast: Cast, client: Client) -> None:
    told = text(paper(client, cast.clinic, "running-order-pdf"))
    assert "There is no timetable yet" in told and "Tomas Birk" in told and "Planned" not in told


def test_an_hour_that_is_too_short_is_said(cast: Cast, client: Client) -> None:
    plan_hour(cast.clinic, minutes=2)
    assert "does not fit" in text(paper(client, cast.clinic, "running-order-pdf"))


def test_sixty_swimmers_with_long_names_stay_on_the_page(cast: Cast, client: Client) -> None:
    plan_hour(cast.clinic, minutes=90)
    enter(cast.clinic, 60, 10, LONG)
    pdf = paper(client, cast.clinic, "running-order-pdf")
    pages = texts(pdf)
    assert len(pages) > 1
    for number, page in enumerate(pages, start=1):
        assert f"{number} / {len(pages)}" in page and "Destroy this paper" in page
        assert "Went at, note" in page  # the table's head is on each
    assert all(len(re.findall(rf"\b{100 + place}\b", " ".join(pages))) == 1 for place in range(60))
    assert all(tuple(round(side) for side in page.mediabox[2:]) == A4_PT for page in pdf.pages)
    for group_no in range(10):  # no group is torn: each begins on the page that has its last one
        its = [100 + place for place in range(60) if place % 10 == group_no]
        where = {at for at, page in enumerate(pages) for one in its if f" {one} " in f" {page} "}
        assert len(where) == 1


# --- who agreed ---------------------------------------------------------------------------------


def test_consent_status_says_who_and_as_of_when(cast: Cast, client: Client) -> None:
    told = text(paper(client, cast.clinic, "consent-status-pdf"))
    assert "2 of 3 agree" in told
    assert re.search(r"Not to be filmed: 3 Sol Hagen", told)
    assert re.search(r"3 Sol Hagen NOT TO BE FILMED", told)
    assert re.search(r"1 Tomas Birk agrees", told) and "may say no after that" in told
    assert timezone.localtime(timezone.now(), cast.clinic.zone).strftime("%Y") in told


def test_consent_status_holds_being_filmed_and_nothing_else(cast: Cast, client: Client) -> None:
    wren = Swimmer.objects.get(user=cast.wren)
    Consent.objects.create(swimmer=wren, purpose="publish")
    told = text(paper(client, cast.clinic, "consent-status-pdf"))
    assert "publish" not in told.lower() and wren.email not in told


def test_who_has_not_answered_is_not_to_be_filmed(cast: Cast, client: Client) -> None:
    entry = make_entry(cast.clinic, "Ivo Marsh", 9, None, "")
    Consent.objects.filter(swimmer=entry.swimmer).delete()
    told = text(paper(client, cast.clinic, "consent-status-pdf"))
    assert re.search(r"9 Ivo Marsh NOT TO BE FILMED no answer yet", told)


@pytest.mark.parametrize("who", ["coach", "tomas", "other_admin"])
def test_consent_status_is_for_crew_and_admins_alone(cast: Cast, who: str) -> None:
    client = sign_in(Client(), getattr(cast, who))
    url = reverse("clinics:consent-status-pdf", args=[cast.clinic.pk])
    hidden = client.get(url)
    absent = client.get(reverse("clinics:consent-status-pdf", args=[uuid.uuid4()]))
    assert hidden.status_code == absent.status_code == 404
    assert sign_in(Client(), cast.admin).get(url).status_code == 200


def test_a_closed_clinics_consent_status_is_its_admins(cast: Cast, client: Client) -> None:
    Clinic.objects.filter(pk=cast.clinic.pk).update(state="closed", closed_at=timezone.now())
    url = reverse("clinics:consent-status-pdf", args=[cast.clinic.pk])
    assert client.get(url).status_code == 404
    assert sign_in(Client(), cast.admin).get(url).status_code == 200


# --- stations -----------------------------------------------------------------------------------


def test_each_station_has_one_page(cast: Cast, client: Client) -> None:
    plan_hour(cast.clinic)
    VenueSheet.objects.create(clinic=cast.clinic, lanes=6, ropes_out=[1])
    Duty.objects.create(clinic=cast.clinic, user=cast.crew, kind="camera", station=cast.start_side)
    KitTick.objects.create(station=cast.start_side, key="camera")
    pages = texts(paper(client, cast.clinic, "station-cards-pdf"))
    assert len(pages) == 2
    start, under = pages
    assert "1 Start side" in start and "Petra Voss" in start and "Sol Hagen" not in "".join(pages)
    assert "3.00 m from the start wall" in start and "2.00 m back from the edge" in start
    assert "1.60 m above the water" in start and "✓ Camera, clock set" in start
    # 50 m at 90 s per 100 m: in picture from 1 s before the signal until 10 m on
    assert "start -1 to 9 s after the start signal" in start
    assert "0.50 m under water" in under and "Does not hear the start" in under
    assert "nobody yet" in under and "does not say that anything is safe" in under
    assert "The first at 10:01" in under


def test_a_station_with_much_to_say_still_has_one_page(cast: Cast, client: Client) -> None:
    plan_hour(cast.clinic, minutes=90)
    enter(cast.clinic, 60, 10, LONG)
    Clinic.objects.filter(pk=cast.clinic.pk).update(name=LONG, venue=LONG, distance_m=200)
    Station.objects.filter(clinic=cast.clinic).update(name=LONG[:80], fixed_mount=False)
    cast.crew.name = LONG[:120]
    cast.crew.save()
    for kind in ("operator", "watcher"):
        Duty.objects.create(clinic=cast.clinic, user=cast.crew, kind=kind, station=cast.underwater)
    assert len(paper(client, cast.clinic, "station-cards-pdf").pages) == 2


def test_what_is_brought_stands_against_what_is_needed(cast: Cast, client: Client) -> None:
    Station.objects.filter(pk=cast.start_side.pk).update(
        bit_rate="1080i", card_gb=8, battery_min=120, angle_deg=70
    )
    start, under = texts(paper(client, cast.clinic, "station-cards-pdf"))
    # 75 min at 17 Mbit/s is 9.56 GB, a quarter more 11.95; half as much battery again 112.5 min
    assert "12 GB of card and 112 min of battery" in start.replace("113 min", "112 min")
    assert "8 GB is too little, bring 2" in start and "120 min, enough" in start
    assert "usual lens" not in start and "usual lens" in under


# --- number cards -------------------------------------------------------------------------------


def test_number_cards_hold_numbers_and_no_names(cast: Cast, client: Client) -> None:
    pages = texts(paper(client, cast.clinic, "number-cards-pdf", "?layout=one"))
    assert [re.match(r"\D*(\d+)", page).group(1) for page in pages] == ["1", "2", "3"]  # type: ignore[union-attr]
    assert not any(name in " ".join(pages) for name in ("Birk", "Okada", "Hagen"))


def test_two_number_cards_share_a_page_and_are_cut_apart(cast: Cast, client: Client) -> None:
    pdf = paper(client, cast.clinic, "number-cards-pdf", "?layout=two")
    pages = texts(pdf)
    assert len(pages) == 2 and pages[0].count("Hold it up") == 2 and "Cut here" in pages[0]
    assert pages[1].count("Hold it up") == 1
    assert tuple(round(side) for side in pdf.pages[0].mediabox[2:]) == A4_PT


def test_numerals_are_as_high_as_the_page_says(cast: Cast, client: Client) -> None:
    """The size of the type is read back from the PDF; 0.729 of it is the height of a digit."""
    pdf = paper(client, cast.clinic, "number-cards-pdf", "?layout=one")
    assert largest_type_mm(pdf.pages[0]) * 0.729 == pytest.approx(156, abs=1)
    width, height = (float(side) for side in pdf.pages[0].mediabox[2:])
    assert (round(width), round(height)) == A4_PT[::-1]


def largest_type_mm(page: pypdf.PageObject) -> float:
    return max(types_pt(page, page.get_contents(), 1.0)) / 72 * 25.4


def types_pt(page: pypdf.PageObject, content: Any, scale: float) -> Iterator[float]:
    """Sizes of type, by the operators of ISO 32000-1: q, Q and cm (8.4.4), Do (8.8, 8.10), Tf and
    Tm (9.3, 9.4.2)."""
    stack, text_scale, size = list[float](), 1.0, 0.0
    for said, operator in ContentStream(content, page.pdf).operations:
        if operator == b"q":
            stack.append(scale)
        elif operator == b"Q":
            scale = stack.pop()
        elif operator == b"cm":
            scale *= abs(float(said[3]))
        elif operator == b"Tf":
            size = float(said[1])
        elif operator == b"Tm":
            text_scale = abs(float(said[3]))
        elif operator in (b"Tj", b"TJ"):
            yield size * text_scale * scale
        elif operator == b"Do":
            form = page["/Resources"]["/XObject"][said[0]].get_object()
            if form["/Subtype"] == "/Form":
                yield from types_pt(page, form, scale * abs(float(form.get("/Matrix", [1] * 6)[3])))


def test_the_page_says_how_well_the_start_camera_reads_them(cast: Cast, client: Client) -> None:
    page = client.get(reverse("clinics:papers", args=[cast.clinic.pk])).content.decode()
    # from (3, -2, 1.6) to (0, 1.25, 1.2): 4.44 m, at 60 degrees 5.13 m wide; 102 mm are 38 px
    assert "4.4 m away and sees 5.1 m there, so they are 38 pixels high" in page
    assert "reads well" in page


# --- who does what, and the page ----------------------------------------------------------------


def test_who_does_what_says_what_nobody_holds(cast: Cast, client: Client) -> None:
    Duty.objects.create(clinic=cast.clinic, user=cast.crew, kind="starter")
    VenueSheet.objects.create(clinic=cast.clinic, lifeguard="Odd Rasmussen")
    told = text(paper(client, cast.clinic, "posts-pdf"))
    assert "Starter Petra Voss" in told and "Checker Jun Sorley" in told
    assert "Lifeguard Odd Rasmussen" in told and "Logger nobody yet" in told
    assert "Somebody is still missing" in told and "@" not in told


def test_papers_of_an_empty_clinic_say_what_comes_next(cast: Cast) -> None:
    empty = Clinic.objects.create(
        club=cast.harbour, slug="empty", name="Spring clinic", venue="Millrace Baths",
        date=dt.date(2027, 3, 6), time_zone="Europe/Dublin", course_m=25, distance_m=75,
        air_temperature_c=27,
    )  # fmt: skip
    client = sign_in(Client(), cast.admin)
    assert "Nobody is entered yet" in text(paper(client, empty, "running-order-pdf"))
    assert "Nobody is entered yet" in text(paper(client, empty, "number-cards-pdf"))
    assert "No station is planned yet" in text(paper(client, empty, "station-cards-pdf"))
    assert "nobody yet" in text(paper(client, empty, "posts-pdf"))
    assert "13 March 2027" in text(paper(client, empty, "consent-status-pdf"))  # a week after
    page = client.get(reverse("clinics:papers", args=[empty.pk])).content.decode()
    assert "Take in the roster first" in page


def test_the_page_offers_the_consent_status_only_to_who_may_see_it(cast: Cast) -> None:
    url = reverse("clinics:papers", args=[cast.clinic.pk])
    status = reverse("clinics:consent-status-pdf", args=[cast.clinic.pk])
    for who, sees in ((cast.crew, True), (cast.admin, True), (cast.coach, False)):
        page = sign_in(Client(), who).get(url).content.decode()
        assert (status in page) is sees


@pytest.mark.parametrize("name", ["running-order-pdf", "station-cards-pdf", "consent-status-pdf"])
@pytest.mark.parametrize("count", [1, 3])
def test_papers_ask_as_often_for_many_as_for_one(
    cast: Cast, client: Client, django_assert_max_num_queries: object, name: str, count: int
) -> None:
    enter(cast.clinic, count, 1)
    plan_hour(cast.clinic)
    for place in range(count):
        Station.objects.create(
            clinic=cast.clinic, order=3 + place, slug=f"deck-{place}", name=f"Deck {place}",
            kind="deck", x_m=20, y_m=-1,
        )  # fmt: skip
    most = {"running-order-pdf": 8, "station-cards-pdf": 20, "consent-status-pdf": 14}[name]
    with django_assert_max_num_queries(most):  # type: ignore[operator]
        paper(client, cast.clinic, name)


def test_a_paper_in_french_is_made(cast: Cast, client: Client) -> None:
    client.cookies["django_language"] = "fr"
    plan_hour(cast.clinic)
    for name in ("running-order-pdf", "station-cards-pdf", "number-cards-pdf", "posts-pdf"):
        assert paper(client, cast.clinic, name).pages
