"""The venue sheet: what is put down, refused, copied, and the pool that others draw from it."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st

from clinics.actions.errors import BadInput
from clinics.actions.venue import (
    FIELDS,
    copy_venue,
    flags_m_of,
    has_something_to_copy,
    pool_of,
    put_venue,
    ropes_out_of,
    venue_of,
)
from clinics.compute.venue_sheet import depth_points
from clinics.models import Clinic, VenueSheet
from portal.models import AuditEntry
from tests.cast import Cast, make_clinic

LATELY = timezone.now().date() - dt.timedelta(days=2)
SHEET: dict[str, Any] = {
    "operator": "Millrace Baths",
    "operator_contact": "at the front desk",
    "permission": "given",
    "permission_by": "Ines Corran, duty manager",
    "permission_on": LATELY,
    "permission_says": "The two lanes on the window side; nobody else in picture.",
    "other_users": "Aqua class in the small pool.",
    "juniors_in_hall": True,
    "juniors_settled": "Cameras look away from lanes 5 and 6.",
    "lanes": 6,
    "lane_m": 2.4,
    "ropes_out": [1],
    "flags_m": 4.57,
    "depth_profile": [[6, 2.0], [0, 1.2], [1, 1.4]],
    "depth_measured_by": "Petra Voss",
    "depth_measured_on": LATELY,
    "depth_measured_how": "lane 1, tape with a weight",
    "has_blocks": True,
    "block_height_m": 0.7,
    "edge_height_m": 0.3,
    "has_window": True,
    "window": "far wall, lane 1",
    "power": "one socket in the store room",
    "network": "none on deck",
    "lifeguard": "one of the pool's",
    "notes": "Keys at the desk.",
}
ANYTHING = st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=3)
OF_THE_OCCASION = {
    *("permission", "permission_by", "permission_on", "permission_says"),
    *("other_users", "juniors_in_hall", "juniors_settled", "lifeguard"),
}


def refused(clinic: Clinic, **values: Any) -> list[tuple[str, str]]:
    with pytest.raises(BadInput) as told:
        put_venue(clinic=clinic, values=values, by=None)
    return told.value.errors


def test_venue_is_put_down_whole_with_one_record(cast: Cast) -> None:
    put_venue(clinic=cast.clinic, values=SHEET, by=cast.admin)
    sheet = VenueSheet.objects.get(clinic=cast.clinic)
    kept = {name: getattr(sheet, name) for name in FIELDS}
    assert kept == SHEET | {"depth_profile": [[0.0, 1.2], [1.0, 1.4], [6.0, 2.0]]}
    assert set(SHEET) == set(FIELDS)
    assert sheet.changed_by == cast.admin
    record = AuditEntry.objects.get(action="venue.put")
    assert record.actor_id == cast.admin.pk
    assert "Corran" not in record.text


def test_venue_put_again_changes_and_records_nothing(cast: Cast) -> None:
    put_venue(clinic=cast.clinic, values=SHEET, by=cast.admin)
    put_venue(clinic=cast.clinic, values=SHEET, by=cast.admin)
    assert AuditEntry.objects.filter(action="venue.put").count() == 1


def test_venue_keeps_what_is_not_named_and_empties_what_is_empty(cast: Cast) -> None:
    put_venue(clinic=cast.clinic, values=SHEET, by=None)
    empty = {"lanes": None, "depth_profile": None, "power": "", "has_blocks": None}
    sheet = put_venue(clinic=cast.clinic, values=empty, by=None)
    sheet.refresh_from_db()
    assert (sheet.lanes, sheet.depth_profile, sheet.power, sheet.has_blocks) == (None, [], "", None)
    assert sheet.operator == "Millrace Baths"


@pytest.mark.parametrize(
    ("values", "field", "says"),
    [
        ({"depth_profile": [[1, 1.8], [6, 0]]}, "depth_profile", "Row 2: The depth"),
        ({"depth_profile": [[-1, 1.8]]}, "depth_profile", "Row 1: The distance"),
        ({"depth_profile": [[26, 1.8]]}, "depth_profile", "beyond the far wall"),
        ({"depth_profile": [[1, "deep"]]}, "depth_profile", "Row 1: Give two numbers"),
        ({"depth_profile": [[1, float("nan")]]}, "depth_profile", "Row 1: Give two numbers"),
        ({"depth_profile": "1.8"}, "depth_profile", "two numbers each"),
        ({"permission": "given"}, "permission_by", "who gave"),
        ({"permission": "perhaps"}, "permission", "perhaps"),
        ({"lanes": 0}, "lanes", "1"),
        ({"lanes": 6.5}, "lanes", "whole number"),
        ({"lane_m": float("nan")}, "lane_m", "no number"),
        ({"flags_m": float("inf")}, "flags_m", "no number"),
        ({"lanes": 4, "ropes_out": [4]}, "ropes_out", "There is no rope 4: the last is 3."),
        ({"ropes_out": ["1"]}, "ropes_out", "numbers of the ropes"),
        ({"has_blocks": False, "block_height_m": 0.7}, "block_height_m", "no blocks"),
        ({"has_window": False, "window": "deep end"}, "window", "no window"),
        ({"depth_measured_on": dt.date(2999, 1, 1)}, "depth_measured_on", "not come yet"),
        ({"operator": "x" * 121}, "operator", "120"),
        ({"depth": 2}, "depth", "not known"),
        ({"changed_by": None}, "changed_by", "not known"),
    ],
)
def test_venue_refuses_naming_the_field(
    cast: Cast, values: dict[str, Any], field: str, says: str
) -> None:
    ((where, sentence),) = refused(cast.clinic, **values)
    assert where == field
    assert says in sentence
    assert not VenueSheet.objects.exists()
    assert venue_of(cast.clinic) is None


def test_venue_tells_all_that_is_wrong_at_once(cast: Cast) -> None:
    errors = refused(cast.clinic, lanes=50, depth_profile=[[1, 0], [300, 2]], flags_m="near")
    assert [where for where, _sentence in errors].count("depth_profile") == 2
    assert {where for where, _sentence in errors} == {"lanes", "depth_profile", "flags_m"}


def test_venue_of_a_closed_clinic_stays(cast: Cast) -> None:
    Clinic.objects.filter(pk=cast.clinic.pk).update(state="closed", closed_at=timezone.now())
    ((where, sentence),) = refused(cast.clinic, lanes=6)
    assert (where, "closed" in sentence) == ("", True)


def test_venue_permission_by_nobody_is_refused_by_the_database(cast: Cast) -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        VenueSheet.objects.create(clinic=cast.clinic, permission="given")


def test_pool_is_the_usual_one_until_somebody_says(cast: Cast) -> None:
    pool = pool_of(cast.clinic)
    assert (pool.lanes, pool.lane_m, pool.course_m) == (6, 2.5, cast.clinic.course_m)
    assert (ropes_out_of(cast.clinic), flags_m_of(cast.clinic)) == ((), 5.0)
    put_venue(clinic=cast.clinic, values=SHEET, by=None)
    pool = pool_of(cast.clinic)
    assert (pool.lanes, pool.lane_m) == (6, 2.4)
    assert (ropes_out_of(cast.clinic), flags_m_of(cast.clinic)) == ((1,), 4.57)


# --- copied ------------------------------------------------------------------------------------


def earlier(cast: Cast) -> Clinic:
    put_venue(clinic=cast.clinic, values=SHEET, by=None)
    return cast.clinic


def test_copied_venue_leaves_what_belongs_to_the_occasion(cast: Cast) -> None:
    to = make_clinic(cast.harbour, "harbour-spring", "Spring clinic")
    assert not has_something_to_copy(to=to, from_clinic=cast.clinic)
    assert has_something_to_copy(to=to, from_clinic=earlier(cast))
    sheet = copy_venue(to=to, from_clinic=cast.clinic, by=cast.admin)
    assert sheet is not None
    usual = VenueSheet()
    for name in FIELDS:
        source = usual if name in OF_THE_OCCASION else venue_of(cast.clinic)
        assert getattr(sheet, name) == getattr(source, name), name
    assert sheet.depth_measured_on == LATELY


def test_copied_venue_keeps_what_was_said_here(cast: Cast) -> None:
    to = make_clinic(cast.harbour, "harbour-spring", "Spring clinic")
    here = {"lanes": 4, "has_blocks": False, "depth_profile": [[1, 3.0]], "lifeguard": "two"}
    put_venue(clinic=to, values=here, by=None)
    sheet = copy_venue(to=to, from_clinic=earlier(cast), by=None)
    assert sheet is not None
    assert (sheet.lanes, sheet.ropes_out, sheet.block_height_m) == (4, [], None)
    assert (sheet.depth_profile, sheet.depth_measured_by) == ([[1.0, 3.0]], "")
    assert (sheet.lifeguard, sheet.window) == ("two", "far wall, lane 1")


def test_copied_depth_stays_behind_where_the_course_is_another(cast: Cast) -> None:
    to = make_clinic(cast.harbour, "harbour-long", "Long course")
    to.course_m = 50.0
    to.save()
    sheet = copy_venue(to=to, from_clinic=earlier(cast), by=None)
    assert sheet is not None
    assert (sheet.depth_profile, sheet.depth_measured_on, sheet.lanes) == ([], None, 6)


def test_venue_of_another_pool_is_not_copied(cast: Cast) -> None:
    to = make_clinic(cast.harbour, "harbour-away", "Away")
    to.venue = "Quillmoor Pool"
    to.save()
    assert not has_something_to_copy(to=to, from_clinic=earlier(cast))
    with pytest.raises(BadInput):
        copy_venue(to=to, from_clinic=cast.clinic, by=None)


@pytest.mark.no_database
@given(st.lists(st.lists(ANYTHING, max_size=3) | ANYTHING, max_size=6) | ANYTHING)
def test_depth_rows_are_kept_or_complained_of(rows: Any) -> None:
    errors: list[tuple[str, str]] = []
    kept = depth_points(rows, course_m=25.0, errors=errors)
    assert kept == sorted(kept)
    assert all(0 <= x_m <= 25 and 0 < depth_m <= 20 for x_m, depth_m in kept)
    if isinstance(rows, list) and len(rows) <= 100:
        assert len(kept) + len(errors) == len(rows)
