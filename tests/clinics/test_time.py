"""The one module that converts between the three times."""

from __future__ import annotations

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clinics.compute.time import (
    clinic_instant,
    from_epoch_s,
    iso_utc,
    media_s_at,
    media_s_to_ticks,
    swim_instant,
    swim_s,
    swim_s_to_media_s,
    ticks_to_media_s,
    to_epoch_s,
)

ZERO = dt.datetime(2026, 11, 14, 10, 0, 0, 123_457, tzinfo=dt.UTC)
media = st.floats(min_value=-100, max_value=4 * 3600, allow_nan=False)
rates = st.floats(min_value=-150, max_value=150, allow_nan=False)


@given(media, rates)
def test_media_time_and_clinic_time_lead_back(media_s: float, rate_ppm: float) -> None:
    instant = clinic_instant(ZERO, rate_ppm, media_s)
    assert media_s_at(ZERO, rate_ppm, instant) == pytest.approx(media_s, abs=0.6e-6)


@given(st.integers(min_value=0, max_value=24 * 3600 * 90_000))
def test_ticks_are_exact(ticks: int) -> None:
    assert media_s_to_ticks(ticks_to_media_s(ticks)) == ticks


def test_positive_rate_means_that_clinic_time_runs_further() -> None:
    later = clinic_instant(ZERO, 100.0, 10_000.0) - clinic_instant(ZERO, 0.0, 10_000.0)
    assert later == dt.timedelta(seconds=1)


@given(st.floats(min_value=-60, max_value=600), rates)
def test_swim_time_to_media_time_is_the_way_over_clinic_time(at_s: float, rate_ppm: float) -> None:
    start_at = ZERO + dt.timedelta(seconds=77.25)
    there = media_s_at(ZERO, rate_ppm, swim_instant(start_at, at_s))
    assert swim_s_to_media_s(ZERO, rate_ppm, start_at, at_s) == pytest.approx(there, abs=0.6e-6)
    assert swim_s(start_at, swim_instant(start_at, at_s)) == pytest.approx(at_s, abs=0.6e-6)


def test_instants_need_an_offset() -> None:
    with pytest.raises(ValueError, match="offset"):
        clinic_instant(ZERO.replace(tzinfo=None), 0.0, 1.0)
    with pytest.raises(ValueError, match="offset"):
        swim_s(ZERO, ZERO.replace(tzinfo=None))


def test_instants_keep_their_microseconds_in_any_zone() -> None:
    in_india = ZERO.astimezone(dt.timezone(dt.timedelta(hours=5, minutes=30)))
    assert iso_utc(in_india) == "2026-11-14T10:00:00.123457Z"
    assert from_epoch_s(to_epoch_s(in_india)) == ZERO
    assert iso_utc(None) is None
