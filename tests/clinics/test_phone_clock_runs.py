"""What phones logged, on the server's clock: imposed offsets, rates and restarts come back within
what is stated.

Outside reference: numpy.polyfit for the least-squares line; its normal approximation for the
spread of a fitted line.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from clinics.compute.phone_clock import (
    BRIDGED,
    MEASURED,
    TIED,
    UNKNOWN,
    EntryIn,
    Exchange,
    Offset,
    PhoneIn,
    fit_line,
    fit_phones,
    summary,
    ties_of,
)
from tests.clinics.simulated_phone import (
    BEGIN_MS,
    HOUR_MS,
    MINUTE_MS,
    Phone,
    all_within,
    entry_of,
    errors_of,
    restarted,
    stepped,
    two_phones,
)

# --- one piece ----------------------------------------------------------------------------------


def test_entries_between_exchanges_are_placed() -> None:
    phone = Phone(rate=3e-5, wall_ahead_ms=-4000)
    for hour in range(4):
        phone.exchange(hour * HOUR_MS + 1000)
        phone.tap((hour + 0.5) * HOUR_MS)
    clock = phone.fitted()
    assert {one.state for one in clock.entries} == {MEASURED}
    assert all_within(phone, clock)
    assert all(one.u_ms < 20 for one in clock.entries[:3])
    assert [placed.line.rate for placed in clock.pieces] == [pytest.approx(3e-5, abs=2e-6)]
    assert not clock.steps


def test_the_uncertainty_grows_away_from_exchanges() -> None:
    phone = Phone()
    phone.exchange(1000)
    near, far, before = phone.tap(2000), phone.tap(6 * HOUR_MS), phone.tap(10)
    clock = phone.fitted()
    assert entry_of(clock, near).u_ms < 5
    assert entry_of(clock, before).u_ms < 5
    assert entry_of(clock, far).u_ms == pytest.approx(25e-6 * 6 * HOUR_MS, rel=0.02)


def test_the_line_is_the_least_squares_line() -> None:
    """numpy.polyfit; over eight hours what is assumed of the rate weighs nothing."""
    rng = np.random.default_rng(2)
    at_ms = np.linspace(5000, 8 * HOUR_MS, 30)
    u_ms = rng.uniform(3, 30, 30)
    offsets_ms = 7e5 + 8e-5 * at_ms + u_ms * rng.standard_normal(30)
    line = fit_line(
        [
            Offset(at, offset, u, offset - 900, offset + 900, 5)
            for at, offset, u in zip(at_ms, offsets_ms, u_ms, strict=True)
        ]
    )
    scaled = at_ms - line.middle_ms
    (slope, level), cov = np.polyfit(scaled, offsets_ms, 1, w=1 / u_ms, cov="unscaled")
    for when in (0.0, 3 * HOUR_MS, 12 * HOUR_MS):
        expected = when + level + slope * (when - line.middle_ms)
        assert line.server_ms(when) == pytest.approx(expected, abs=0.02 * line.u_ms(when))
        assert line.monotonic_ms(line.server_ms(when)) == pytest.approx(when, abs=1e-3)
        spread = math.sqrt(cov[1, 1] + cov[0, 0] * (when - line.middle_ms) ** 2)
        assert line.u_ms(when) >= spread
    assert line.u_ms(line.middle_ms) >= u_ms.min()


def test_many_offsets_do_not_hide_what_is_common_to_them() -> None:
    """Every way there takes 30 ms, every way back 10: 10 ms wrong however often it is asked."""
    phone = Phone()
    for minute in range(120):
        phone.exchange(minute * MINUTE_MS + 100, there_ms=30, back_ms=10)
        phone.tap((minute + 0.5) * MINUTE_MS)
    clock = phone.fitted()
    assert all_within(phone, clock)
    error_ms = clock.entries[60].instant_ms - phone.truth_ms[clock.entries[60].client_id]
    assert error_ms == pytest.approx(10, abs=1)


def test_a_rate_that_cannot_be_is_not_believed() -> None:
    """A clock that loses 600 millionths in steps too small to be seen (it dozes off for moments)
    is not fitted as one that runs slow; the uncertainty says that it ran unevenly."""
    phone = Phone(rate=6e-4)
    for half_minute in range(121):
        if half_minute % 40 == 0:
            phone.exchange(half_minute * MINUTE_MS / 2 + 100)
        phone.tap(half_minute * MINUTE_MS / 2 + 5000)
    clock = phone.fitted()
    assert not clock.steps
    [placed] = clock.pieces
    assert placed.line.rate == 200e-6 and placed.line.uneven_ms > 100
    assert all_within(phone, clock)


def test_two_offsets_alone_tell_little_of_later_hours() -> None:
    """Independent errors of 20 ms, an hour apart, tell the rate within 28 ms an hour: by the
    usual propagation of errors that is 20 * sqrt(2) * 3.5 h = 99 ms three hours later, less what
    is assumed of the rate."""
    offsets = [Offset(at, 7e5, 20, 7e5 - 90, 7e5 + 90, 3) for at in (0.0, HOUR_MS)]
    assert 75 < fit_line(offsets).u_ms(4 * HOUR_MS) < 105


def test_stated_uncertainties_cover_over_many_phones() -> None:
    """Clocks off by 25 millionths (1 sigma), a few bursts of exchanges on a network whose ways
    differ, taps anywhere in five hours."""
    rng = np.random.default_rng(14)
    errors = []
    for n in range(250):
        phone = Phone(f"p{n}", rate=2.5e-5 * rng.standard_normal(), wall_ahead_ms=3000)
        least = rng.uniform(8, 80, 2)
        for begin in np.sort(rng.uniform(0, 5 * HOUR_MS, rng.integers(1, 6))):
            for k in range(4):
                phone.exchange(begin + 400 * k, *(least + rng.exponential([25, 10])))
        for at in rng.uniform(0, 5 * HOUR_MS, 6):
            phone.tap(at)
        errors += errors_of(phone, phone.fitted()).values()
    assert len(errors) == 1500
    assert 0.95 <= np.mean(np.abs(errors) <= 1.0) <= 0.995
    assert np.median(np.abs(errors)) >= 1 / 6


# --- restarts -----------------------------------------------------------------------------------


def test_each_run_is_fitted_by_itself() -> None:
    phone = Phone()
    phone.exchange(1000)
    phone.tap(2000)
    phone.restart(HOUR_MS)
    phone.exchange(HOUR_MS + 5000)
    phone.tap(HOUR_MS + 6000)
    clock = phone.fitted()
    assert [one.state for one in clock.entries] == [MEASURED, MEASURED]
    assert all(abs(one.instant_ms - phone.truth_ms[one.client_id]) < 1 for one in clock.entries)


@pytest.mark.parametrize("later", [False, True])
def test_a_run_without_exchanges_is_bridged_by_the_wall_clock(later: bool) -> None:
    phone, first, offline = restarted(later=later)
    clock = phone.fitted()
    assert entry_of(clock, first).state == MEASURED
    told = entry_of(clock, offline)
    assert told.state == BRIDGED and not told.doubtful
    assert abs(told.instant_ms - phone.truth_ms[offline]) < 10
    assert told.u_ms < 25 if later else told.u_ms > 150


def test_a_bridge_says_that_the_wall_clock_was_set_meanwhile() -> None:
    """Known before and after: what they differ by is in the uncertainty."""
    phone, _first, offline = restarted(later=True, moved_ms=1800)
    clock = phone.fitted()
    assert entry_of(clock, offline).u_ms == pytest.approx(900, rel=0.05)
    assert all_within(phone, clock)


def test_a_bridge_believes_the_nearer_side_more() -> None:
    phone = Phone(sets=[(140 * MINUTE_MS, 1800)])
    phone.exchange(1000)
    phone.restart(10 * MINUTE_MS)
    offline = phone.tap(12 * MINUTE_MS)
    phone.restart(150 * MINUTE_MS)
    phone.exchange(151 * MINUTE_MS)
    clock = phone.fitted()
    assert abs(entry_of(clock, offline).instant_ms - phone.truth_ms[offline]) < 200
    assert all_within(phone, clock)


def test_a_phone_that_never_had_network_is_unknown() -> None:
    phone = Phone(wall_ahead_ms=777)
    told = phone.tap(5000)
    [entry] = phone.fitted().entries
    assert (entry.client_id, entry.state, entry.u_ms) == (told, UNKNOWN, None)
    assert entry.instant_ms == entry.wall_ms == BEGIN_MS + 5777


def test_exchanges_that_cannot_be_are_as_none() -> None:
    phone = Phone()
    phone.tap(5000)
    phone.exchanges["run 1"] = [Exchange(10, 1e12, 1e12, 5, BEGIN_MS)]
    assert [one.state for one in phone.fitted().entries] == [UNKNOWN]


def test_an_entry_without_a_time_is_an_error() -> None:
    entry = EntryIn("x", "run", math.nan, 5.0)
    with pytest.raises(ValueError, match="entry x has no time"):
        fit_phones([PhoneIn("phone", {}, [entry])])


# --- a day's board ------------------------------------------------------------------------------


def test_the_summary_says_how_each_phone_is_doing() -> None:
    one, other, scans = two_phones()
    silent = PhoneIn("silent")
    stopped = stepped(stops=[(12 * MINUTE_MS, 7 * MINUTE_MS)])
    phones = [one.sent(), other.sent(), silent, stopped.sent()]
    clocks = fit_phones(phones, ties_of(scans))
    first, second, asleep, nothing = summary(clocks, now_ms=BEGIN_MS + 2 * HOUR_MS)
    assert [first.phone, second.phone, asleep.phone, nothing.phone] == sorted(clocks)
    assert (first.state, second.state, nothing.state) == (MEASURED, TIED, UNKNOWN)
    assert first.heard_ms == BEGIN_MS + 1013
    assert first.u_ms == pytest.approx(25e-6 * 2 * HOUR_MS, rel=0.05)
    assert second.ahead_ms == pytest.approx(123_456, abs=2 * second.u_ms)
    assert (second.heard_ms, second.entries) == (None, 1)
    assert (nothing.run, nothing.ahead_ms, nothing.u_ms, nothing.heard_ms) == ("", None, None, None)
    assert (asleep.steps, asleep.doubtful) == (1, 0)
    assert asleep.ahead_ms == pytest.approx(-900, abs=10)


def test_the_summary_is_of_the_newest_run() -> None:
    phone, _first, _offline = restarted(later=False)
    [line] = summary(fit_phones([phone.sent()]), now_ms=BEGIN_MS + 3 * HOUR_MS)
    assert (line.run, line.state) == (phone.run, BRIDGED)
    assert line.heard_ms == BEGIN_MS + 1013
    assert line.ahead_ms == pytest.approx(2500, abs=5)
