"""The venue sheet as a page: who reads and who changes it, what is said where nothing is known,
and that what was typed stays until it fits."""

from __future__ import annotations

import re
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from clinics.actions.venue import put_venue, venue_of
from clinics.models import Clinic, VenueSheet
from clinics.views.venue_told import missing, parts_of
from portal.models import User
from tests.cast import Cast, make_clinic, sign_in
from tests.clinics.test_venue import SHEET


@pytest.fixture(autouse=True)
def without_second_factor(settings: Any) -> None:
    settings.SECOND_FACTOR_REQUIRED = False


def url(clinic: Clinic, name: str = "venue") -> str:
    return reverse(f"clinics:{name}", args=[clinic.pk])


def page(user: User, clinic: Clinic, **headers: str) -> str:
    return sign_in(Client(), user).get(url(clinic), headers=headers).content.decode()


def typed(**changes: Any) -> dict[str, Any]:
    """What the form of an empty sheet sends, with changes."""
    unknown = dict.fromkeys(("juniors_in_hall", "has_blocks", "has_window"), "unknown")
    rows = {"depth_x": [""] * 8, "depth_m": [""] * 8}
    return {"permission": "not-asked", **unknown, **rows, **changes}


def send(cast: Cast, **changes: Any) -> Any:
    return sign_in(Client(), cast.admin).post(url(cast.clinic), typed(**changes))


def test_empty_venue_says_the_next_step(cast: Cast) -> None:
    admin, coach = page(cast.admin, cast.clinic), page(cast.coach, cast.clinic)
    assert "Ask the pool operator for permission to film first" in admin
    assert "An admin of the club puts it down here" in coach
    assert 'name="operator"' in admin
    assert 'name="operator"' not in coach


def test_admin_puts_down_a_venue_by_form(cast: Cast) -> None:
    done = send(
        cast,
        operator="Millrace Baths",
        permission="given",
        permission_by="Ines Corran",
        juniors_in_hall="true",
        lanes="6",
        lane_m="2.4",
        ropes="2, 1",
        has_blocks="true",
        block_height_m="0.7",
        depth_x=["6", "", "1,5"],
        depth_m=["2", "", "1,45"],
    )
    assert done.status_code == 302
    sheet = VenueSheet.objects.get(clinic=cast.clinic)
    assert (sheet.lanes, sheet.lane_m, sheet.ropes_out) == (6, 2.4, [1, 2])
    assert sheet.depth_profile == [[1.5, 1.45], [6.0, 2.0]]
    assert (sheet.juniors_in_hall, sheet.has_blocks, sheet.has_window) == (True, True, None)
    assert sheet.changed_by == cast.admin


def test_form_sent_as_it_is_shown_changes_nothing(cast: Cast) -> None:
    put_venue(clinic=cast.clinic, values=SHEET, by=cast.admin)
    before = VenueSheet.objects.get(clinic=cast.clinic)
    form = sign_in(Client(), cast.admin).get(url(cast.clinic)).context["form"]
    shown = {name: field.value() for name, field in ((f.name, f) for f in form)}
    shown = {name: "" if value is None else value for name, value in shown.items()}
    booleans = {n: str(shown[n]).lower() for n in ("juniors_in_hall", "has_blocks", "has_window")}
    rows = {"depth_x": [r.x_m for r in form.rows], "depth_m": [r.depth_m for r in form.rows]}
    sign_in(Client(), cast.admin).post(url(cast.clinic), shown | booleans | rows)
    after = VenueSheet.objects.get(clinic=cast.clinic)
    assert after.changed_at == before.changed_at


@pytest.mark.parametrize(
    ("changes", "field", "says"),
    [
        ({"permission": "given"}, "permission_by", "Say who gave the permission"),
        ({"lanes": "0"}, "lanes", "greater than or equal to 1"),
        ({"lane_m": "wide"}, "lane_m", "Enter a number"),
        ({"ropes": "first"}, "ropes", "Give the numbers of the ropes"),
        ({"lanes": "4", "ropes": "4"}, "ropes", "There is no rope 4"),
        ({"has_blocks": "false", "block_height_m": "0.7"}, "block_height_m", "no blocks"),
        ({"depth_measured_on": "2999-01-01"}, "depth_measured_on", "not come yet"),
    ],
)
def test_form_names_the_field_and_keeps_what_was_typed(
    cast: Cast, changes: dict[str, str], field: str, says: str
) -> None:
    refused = send(cast, operator="Millrace Baths", **changes)
    assert refused.status_code == 422
    assert says in " ".join(refused.context["form"].errors[field])
    assert 'value="Millrace Baths"' in refused.content.decode()
    assert not VenueSheet.objects.exists()


def test_form_names_the_row_as_it_stands_there(cast: Cast) -> None:
    refused = send(cast, depth_x=["1", "", "6", "8"], depth_m=["1.8", "", "x", "0"], lanes="0")
    told = refused.context["form"].row_errors
    assert [words[:6] for words in told] == ["Row 2:", "Row 3:"]
    assert "lanes" in refused.context["form"].errors
    rows = refused.context["form"].rows
    assert [(row.number, row.x_m, row.depth_m) for row in rows[:3]] == [
        (1, "1", "1.8"),
        (2, "6", "x"),
        (3, "8", "0"),
    ]
    text = refused.content.decode()
    assert 'aria-label="Row 2, depth in metres"' in text
    assert "lies beyond" not in text


def test_form_has_more_rows_than_are_filled(cast: Cast) -> None:
    profile = [[x, 1.5] for x in range(12)]
    put_venue(clinic=cast.clinic, values={"depth_profile": profile}, by=None)
    rows = sign_in(Client(), cast.admin).get(url(cast.clinic)).context["form"].rows
    assert (len(rows), rows[11].x_m, rows[12].x_m) == (16, "11", "")


def test_closed_clinic_has_no_form_and_refuses(cast: Cast) -> None:
    put_venue(clinic=cast.clinic, values=SHEET, by=None)
    Clinic.objects.filter(pk=cast.clinic.pk).update(state="closed", closed_at=timezone.now())
    assert 'name="operator"' not in page(cast.admin, cast.clinic)
    assert send(cast, lanes="4").status_code == 422
    assert VenueSheet.objects.get(clinic=cast.clinic).lanes == 6


# --- said in words ------------------------------------------------------------------------------


def test_missing_parts_are_said_in_words(cast: Cast) -> None:
    put_venue(clinic=cast.clinic, values={}, by=cast.admin)
    text = page(cast.coach, cast.clinic)
    for words in (
        "Nobody has said how deep it is.",
        "not asked yet. Ask the pool operator first.",
        "Nobody has said whether juniors train in the hall",
        "Nobody has said whether there are starting blocks.",
        "Nobody has said who the lifeguard is.",
        "plans are drawn with 6",
    ):
        assert words in text
    assert re.search(r"\d+ things are still to be found out", text)


def test_whole_sheet_has_nothing_to_find_out(cast: Cast) -> None:
    sheet = put_venue(clinic=cast.clinic, values=SHEET, by=cast.admin)
    assert missing(parts_of(sheet)) == 0
    text = page(cast.coach, cast.clinic)
    assert "still to be found out" not in text
    assert "given by Ines Corran, duty manager" in text
    assert "between lanes 1 and 2" in text


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"permission": "asked"}, "asked, no answer yet"),
        ({"permission": "refused"}, "nobody films here"),
        ({"permission_on": None}, "Nobody has said when it was given."),
        ({"permission_says": ""}, "Nobody has put down what it says."),
        ({"juniors_settled": ""}, "Nothing is settled with the juniors"),
        ({"juniors_in_hall": False}, "No juniors train in the hall"),
        ({"depth_measured_by": ""}, "nobody has said by whom"),
        ({"depth_profile": [[12, 1.0], [20, 1.0]]}, "how deep it is between 1 and 6 m"),
        ({"has_blocks": False, "block_height_m": None}, "There are no starting blocks."),
        ({"has_window": False, "window": ""}, "There is no underwater window."),
        ({"ropes_out": []}, "No rope comes out"),
    ],
)
def test_sheet_says(cast: Cast, change: dict[str, Any], words: str) -> None:
    sheet = put_venue(clinic=cast.clinic, values=SHEET | change, by=None)
    assert any(words in line.words for part in parts_of(sheet) for line in part.lines)


def test_figures_are_written_as_the_reader_writes_them(cast: Cast) -> None:
    cast.coach.language = "fr"
    cast.coach.save()
    put_venue(clinic=cast.clinic, values=SHEET, by=None)
    text = page(cast.coach, cast.clinic, **{"Accept-Language": "fr"})
    assert "2,4" in text
    assert "4,57" in text


# --- copied -------------------------------------------------------------------------------------


def test_admin_copies_from_an_earlier_clinic_here(cast: Cast) -> None:
    put_venue(clinic=cast.clinic, values=SHEET, by=None)
    to = make_clinic(cast.harbour, "harbour-spring", "Spring clinic")
    client = sign_in(Client(), cast.admin)
    assert "Copy from an earlier clinic here" in client.get(url(to)).content.decode()
    client.post(url(to, "venue-copy"), {"clinic": cast.clinic.pk})
    sheet = venue_of(Clinic.objects.get(pk=to.pk))
    assert sheet is not None
    assert (sheet.lanes, sheet.permission, sheet.lifeguard) == (6, "not-asked", "")


def test_sheet_of_another_club_is_not_offered_and_not_copied(cast: Cast) -> None:
    put_venue(clinic=cast.other_clinic, values=SHEET, by=None)
    client = sign_in(Client(), cast.admin)
    assert "Copy from an earlier clinic here" not in client.get(url(cast.clinic)).content.decode()
    client.post(url(cast.clinic, "venue-copy"), {"clinic": cast.other_clinic.pk})
    assert not VenueSheet.objects.filter(clinic=cast.clinic).exists()


def test_page_takes_as_many_queries_for_a_full_sheet(
    cast: Cast, django_assert_num_queries: Any
) -> None:
    client = sign_in(Client(), cast.admin)
    client.get(url(cast.clinic))
    with CaptureQueriesContext(connection) as empty:
        client.get(url(cast.clinic))
    put_venue(clinic=cast.clinic, values=SHEET, by=cast.admin)
    with django_assert_num_queries(len(empty)):
        client.get(url(cast.clinic))
