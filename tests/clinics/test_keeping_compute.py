"""Until which day something is kept: month ends, leap days, and which rule decides."""

from __future__ import annotations

import calendar
import datetime as dt
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given as drawn
from hypothesis import strategies as st

from clinics.compute.keeping import (
    Rules,
    Until,
    Why,
    add_months,
    begin_of,
    clips_until,
    originals_until,
    records_until,
    swim_until,
)

D = dt.date
DAY = D(2026, 11, 14)
RULES = Rules()


# Source: GNU coreutils' manual, “Relative items in date strings”, names the trap (“2003-07-31
# -1 month” may be 1 July there). Here the shorter month's last day counts.
@pytest.mark.parametrize(
    ("day", "months", "then"),
    [
        (D(2026, 1, 31), 1, D(2026, 2, 28)),
        (D(2028, 1, 31), 1, D(2028, 2, 29)),
        (D(2024, 2, 29), 12, D(2025, 2, 28)),
        (D(2024, 2, 29), 48, D(2028, 2, 29)),
        (D(2026, 12, 31), 2, D(2027, 2, 28)),
        (D(2026, 8, 31), 18, D(2028, 2, 29)),
        (D(2026, 11, 30), 1, D(2026, 12, 30)),
        (D(2026, 12, 1), 0, D(2026, 12, 1)),
    ],
)
def test_months_end_with_the_month(day: D, months: int, then: D) -> None:
    assert add_months(day, months) == then


@drawn(st.dates(D(1990, 1, 1), D(2100, 1, 1)), st.integers(0, 240))
def test_months_keep_the_day_unless_the_month_is_too_short(day: D, months: int) -> None:
    then = add_months(day, months)
    assert (then.year - day.year) * 12 + then.month - day.month == months
    last = calendar.monthrange(then.year, then.month)[1]
    assert then.day == day.day or (then.day == last < day.day)


def until(**about: Any) -> Until:
    told: dict[str, Any] = {
        "clinic_day": DAY,
        "cut_day": DAY,
        "given": True,
        "looked_day": None,
        "other_days": [],
    }
    return clips_until(about.pop("rules", RULES), **{**told, **about})


def test_clips_stay_for_a_month_after_the_next_clinic() -> None:
    days = [D(2027, 6, 1), D(2026, 3, 1), D(2027, 1, 31), DAY]
    assert until(other_days=days) == Until(D(2027, 3, 3), Why.NEXT_CLINIC)


def test_without_a_next_clinic_clips_stay_as_long_as_they_may() -> None:
    assert until() == Until(D(2028, 5, 14), Why.AT_MOST)
    far = [D(2028, 5, 1)]
    assert until(other_days=far) == Until(D(2028, 5, 14), Why.AT_MOST)


def test_what_was_never_given_goes_early() -> None:
    assert until(given=False, other_days=[D(2026, 12, 1)]) == Until(D(2027, 1, 13), Why.NOT_GIVEN)
    short = replace(RULES, clips_at_most_months=1)
    assert until(given=False, rules=short) == Until(D(2026, 12, 14), Why.AT_MOST)


def test_what_is_to_be_looked_at_again_has_its_days_from_then() -> None:
    looked = D(2027, 5, 1)
    assert until(given=False, looked_day=looked).day == D(2027, 6, 30)
    assert until(given=False, looked_day=D(2026, 11, 1)).day == D(2027, 1, 13)


def test_recordings_of_an_old_clinic_count_from_when_they_are_cut() -> None:
    cut = D(2027, 8, 31)
    assert until(cut_day=cut).day == D(2029, 2, 28)
    assert until(cut_day=cut, other_days=[D(2027, 1, 10)]).why == Why.AT_MOST
    assert until(cut_day=cut, given=False).day == D(2027, 10, 30)


def test_kept_longer_lengthens_and_never_shortens() -> None:
    assert until(keep_until=D(2029, 1, 1)) == Until(D(2029, 1, 1), Why.KEPT_LONGER)
    assert until(keep_until=D(2027, 1, 1)).why == Why.AT_MOST
    assert until(keep_until=D(2029, 1, 1), given=False).why == Why.NOT_GIVEN


def test_what_was_said_outlives_the_clips() -> None:
    said = swim_until(RULES, clinic_day=D(2024, 2, 29), given=True, looked_day=None)
    assert said == Until(D(2027, 2, 28), Why.MEASURES)


def test_a_swim_never_goes_before_its_clips() -> None:
    late = Until(D(2030, 1, 1), Why.AT_MOST)
    kept = swim_until(RULES, clinic_day=DAY, given=True, looked_day=None, clips=[late])
    assert kept == Until(late.day, Why.WITH_CLIPS)
    kept = swim_until(RULES, clinic_day=DAY, given=False, looked_day=None, clips=[late])
    assert kept == Until(late.day, Why.NOT_GIVEN)
    assert swim_until(RULES, clinic_day=DAY, given=False, looked_day=DAY).day == D(2027, 1, 13)


def test_a_clinic_that_nobody_closes_does_not_keep_its_originals_for_ever() -> None:
    told = originals_until(RULES, clinic_day=DAY, brought_day=D(2026, 11, 30))
    assert told == Until(D(2028, 5, 30), Why.NOT_CLOSED)
    assert records_until(RULES, clinic_day=DAY) == D(2029, 11, 14)
    assert begin_of(told.day) == dt.datetime(2028, 5, 30, tzinfo=dt.UTC)
