"""What phones logged, on the server's clock: imposed offsets, rates, sleeps, restarts and wall
clocks that somebody set come back within what is stated.

Outside reference: numpy.polyfit for the least-squares line; its normal approximation for the
spread of a fitted line.
"""

from __future__ import annotations

import math
import random as plain_random
from dataclasses import dataclass, field, replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from clinics.compute.phone_clock import (
    BRIDGED,
    MEASURED,
    MONOTONIC,
    SERVER,
    TIED,
    UNDECIDED,
    UNKNOWN,
    WALL,
    EntryIn,
    Exchange,
    Offset,
    PhoneClock,
    PhoneIn,
    Scan,
    fit_line,
    fit_phones,
    summary,
    ties_of,
)

BEGIN_MS = 1_794_650_400_000.0
MINUTE_MS = 60_000.0
HOUR_MS = 60 * MINUTE_MS
few = settings(max_examples=60, deadline=None)


@dataclass
class Phone:
    """A phone whose clocks are known: true time is ms after `BEGIN_MS` on the server's clock."""

    key: str = "phone"
    rate: float = 0.0
    wall_ahead_ms: float = 0.0
    sets: list[tuple[float, float]] = field(default_factory=list)
    stops: list[tuple[float, float]] = field(default_factory=list)
    server_sets: list[tuple[float, float]] = field(default_factory=list)
    run: str = "run 1"
    began_ms: float = 0.0
    exchanges: dict[str, list[Exchange]] = field(default_factory=dict)
    entries: list[EntryIn] = field(default_factory=list)
    truth_ms: dict[str, float] = field(default_factory=dict)

    def restart(self, at_ms: float) -> None:
        """The page is loaded anew: its monotonic clock begins at zero."""
        self.began_ms, self.run = at_ms, f"{self.key} {len(self.exchanges) + at_ms:.0f}"

    def monotonic_ms(self, at_ms: float) -> float:
        slept_ms = sum(
            min(max(at_ms - begin, 0.0), length)
            for begin, length in self.stops
            if begin >= self.began_ms
        )
        return (at_ms - self.began_ms - slept_ms) / (1 + self.rate)

    def wall_ms(self, at_ms: float) -> float:
        by_ms = sum(size for when, size in self.sets if when <= at_ms)
        return math.floor(BEGIN_MS + at_ms + self.wall_ahead_ms + by_ms)

    def server_ms(self, at_ms: float) -> float:
        return BEGIN_MS + at_ms + sum(size for when, size in self.server_sets if when <= at_ms)

    def exchange(self, at_ms: float, there_ms: float = 12.0, back_ms: float = 12.0) -> None:
        receipt_ms = self.server_ms(at_ms + there_ms)
        one = Exchange(
            sent_ms=self.monotonic_ms(at_ms),
            server_ms=receipt_ms,
            answered_ms=receipt_ms + 1,
            came_ms=self.monotonic_ms(at_ms + there_ms + 1 + back_ms),
            wall_ms=self.wall_ms(at_ms),
        )
        self.exchanges.setdefault(self.run, []).append(one)

    def tap(self, at_ms: float) -> str:
        client_id = f"{self.key} {len(self.entries)}"
        entry = EntryIn(client_id, self.run, self.monotonic_ms(at_ms), self.wall_ms(at_ms))
        self.entries.append(entry)
        self.truth_ms[client_id] = self.server_ms(at_ms)
        return client_id

    def sent(self) -> PhoneIn:
        return PhoneIn(self.key, self.exchanges, self.entries)

    def fitted(self) -> PhoneClock:
        return fit_phones([self.sent()])[self.key]


def errors_of(phone: Phone, clock: PhoneClock) -> dict[str, float]:
    """Instant minus truth of each entry, over twice its uncertainty."""
    return {
        one.client_id: (one.instant_ms - phone.truth_ms[one.client_id]) / (2 * one.u_ms)
        for one in clock.entries
        if one.u_ms is not None
    }


def all_within(phone: Phone, clock: PhoneClock) -> bool:
    return all(abs(error) <= 1 for error in errors_of(phone, clock).values())


def entry_of(clock: PhoneClock, client_id: str):
    return next(one for one in clock.entries if one.client_id == client_id)


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


def restarted(*, later: bool, moved_ms: float = 0.0) -> tuple[Phone, str, str]:
    """Online, then a run without network; `later`: and then online again. In the run without
    network the wall clock was set by `moved_ms`."""
    phone = Phone(wall_ahead_ms=2500, rate=1e-5, sets=[(100 * MINUTE_MS, moved_ms)])
    phone.exchange(1000)
    first = phone.tap(5 * MINUTE_MS)
    phone.restart(90 * MINUTE_MS)
    offline = phone.tap(120 * MINUTE_MS)
    if later:
        phone.restart(150 * MINUTE_MS)
        phone.exchange(151 * MINUTE_MS)
    return phone, first, offline


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


# --- steps --------------------------------------------------------------------------------------


def stepped(**clocks) -> Phone:
    phone = Phone(wall_ahead_ms=-900, rate=-2e-5, **clocks)
    phone.exchange(1000)
    for minute in (5, 10, 40, 45):
        phone.tap(minute * MINUTE_MS)
    phone.exchange(60 * MINUTE_MS)
    return phone


def only_step(clock: PhoneClock):
    [[step]] = clock.steps.values()
    return step


def test_nothing_is_flagged_where_nothing_happened() -> None:
    assert not stepped().fitted().steps


def test_a_clock_that_stopped_asleep_is_told_and_fitted_in_two() -> None:
    phone = stepped(stops=[(12 * MINUTE_MS, 7 * MINUTE_MS)])
    clock = phone.fitted()
    step = only_step(clock)
    assert step.fault == MONOTONIC
    assert step.size_ms == pytest.approx(7 * MINUTE_MS, abs=50)
    assert step.after_ms < phone.monotonic_ms(13 * MINUTE_MS) < step.before_ms
    assert step.before_wall_ms - step.after_wall_ms == pytest.approx(30 * MINUTE_MS, abs=2)
    assert [one.state for one in clock.entries] == [MEASURED] * 4
    assert [one.part for one in clock.entries] == [0, 0, 1, 1]
    assert all_within(phone, clock)
    assert all(one.u_ms < 100 and not one.doubtful for one in clock.entries)


@pytest.mark.parametrize("size_ms", [HOUR_MS, 2000.0, -300.0, -HOUR_MS])
def test_a_wall_clock_that_was_set_moves_no_entry(size_ms: float) -> None:
    phone = stepped(sets=[(30 * MINUTE_MS, size_ms)])
    clock = phone.fitted()
    step = only_step(clock)
    assert step.fault == WALL
    assert step.size_ms == pytest.approx(size_ms, abs=50)
    assert {one.part for one in clock.entries} == {0}
    assert all_within(phone, clock)
    assert clock.entries == tuple(
        replace(one, wall_ms=other.wall_ms)
        for one, other in zip(stepped().fitted().entries, clock.entries, strict=True)
    )


def test_several_sleeps_between_two_exchanges_are_told() -> None:
    """The piece in the middle has no exchange of its own: the wall clock bridges it, known on
    both sides."""
    phone = stepped(stops=[(6 * MINUTE_MS, 2 * MINUTE_MS), (20 * MINUTE_MS, 9 * MINUTE_MS)])
    clock = phone.fitted()
    assert [step.fault for step in clock.steps["run 1"]] == [MONOTONIC, MONOTONIC]
    assert [one.part for one in clock.entries] == [0, 1, 2, 2]
    assert [one.state for one in clock.entries] == [MEASURED, BRIDGED, MEASURED, MEASURED]
    assert all_within(phone, clock)
    assert clock.entries[1].u_ms < 40


def test_a_sleep_and_a_set_clock_together_are_undecided() -> None:
    phone = stepped(stops=[(6 * MINUTE_MS, 2 * MINUTE_MS)], sets=[(30 * MINUTE_MS, 5000)])
    clock = phone.fitted()
    assert {step.fault for step in clock.steps["run 1"]} == {UNDECIDED}
    assert clock.entries[1].doubtful and not clock.entries[0].doubtful


def test_a_step_after_the_last_exchange_is_undecided_and_doubtful() -> None:
    """Asleep or set, nobody can tell: taken as asleep, and half a second of doubt stays."""
    for clocks in ({"stops": [(12 * MINUTE_MS, 600.0)]}, {"sets": [(12 * MINUTE_MS, 600.0)]}):
        phone = Phone(**clocks)
        phone.exchange(1000)
        before = phone.tap(10 * MINUTE_MS)
        after = phone.tap(15 * MINUTE_MS)
        clock = phone.fitted()
        assert only_step(clock).fault == UNDECIDED
        assert not entry_of(clock, before).doubtful
        assert entry_of(clock, after).doubtful and entry_of(clock, after).state == BRIDGED
        assert entry_of(clock, after).u_ms > 300
        assert all_within(phone, clock)


def test_a_step_backward_is_the_wall_clock_even_without_exchanges_after() -> None:
    phone = Phone(sets=[(12 * MINUTE_MS, -600.0)])
    phone.exchange(1000)
    phone.tap(10 * MINUTE_MS)
    after = phone.tap(15 * MINUTE_MS)
    clock = phone.fitted()
    assert only_step(clock).fault == WALL
    assert entry_of(clock, after).state == MEASURED
    assert all_within(phone, clock)


def test_a_slow_network_cannot_decide_a_small_step() -> None:
    phone = Phone(stops=[(12 * MINUTE_MS, 200.0)])
    for minute in (1, 20):
        phone.exchange(minute * MINUTE_MS, 700, 700)
        phone.tap((minute + 1) * MINUTE_MS)
    clock = phone.fitted()
    assert only_step(clock).fault == UNDECIDED
    assert all_within(phone, clock)


@pytest.mark.parametrize("minute", [7, 30, 55])
def test_a_server_whose_clock_was_set_is_told(minute: float) -> None:
    """Nothing says when between the exchanges it was."""
    phone = stepped(server_sets=[(minute * MINUTE_MS, -20_000.0)])
    clock = phone.fitted()
    step = only_step(clock)
    assert step.fault == SERVER
    assert step.size_ms == pytest.approx(-20_000, abs=200)
    assert all(one.doubtful for one in clock.entries)
    assert all_within(phone, clock)


def test_a_sleep_between_exchanges_of_one_burst_is_seen() -> None:
    """Seconds apart on the monotonic clock, an hour apart on the others."""
    phone = Phone(stops=[(2000, HOUR_MS)])
    for at in (1000, 1500, HOUR_MS + 3000, HOUR_MS + 3500):
        phone.exchange(at)
    phone.tap(1800)
    phone.tap(HOUR_MS + 4000)
    clock = phone.fitted()
    assert only_step(clock).fault == MONOTONIC
    assert all_within(phone, clock)
    assert all(one.u_ms < 5 for one in clock.entries)


# --- two phones ---------------------------------------------------------------------------------


def scan(shows: Phone, reads: Phone, at_ms: float, latency_ms: float) -> Scan:
    read_ms = reads.monotonic_ms(at_ms + latency_ms)
    return Scan(shows.run, shows.monotonic_ms(at_ms), reads.run, read_ms)


def two_phones() -> tuple[Phone, Phone, list[Scan]]:
    """One phone heard the server, the other one never did; they scan each other."""
    one = Phone("one", rate=2e-5, run="one's run")
    other = Phone("other", rate=-1e-5, wall_ahead_ms=123_456, run="other's run", began_ms=-9e5)
    one.exchange(1000)
    one.tap(2000)
    other.tap(25 * MINUTE_MS)
    told = [
        scan(one, other, 20 * MINUTE_MS, 180),
        scan(other, one, 20 * MINUTE_MS + 5000, 250),
    ]
    return one, other, told


def test_a_phone_has_its_clock_through_the_other_one() -> None:
    one, other, scans = two_phones()
    clocks = fit_phones([one.sent(), other.sent()], ties_of(scans))
    [entry] = clocks["other"].entries
    assert entry.state == TIED
    assert all_within(other, clocks["other"])
    [tie] = ties_of(scans)
    first = clocks["one"].pieces[0].line
    at_ms = next(
        ms for run, ms in ((tie.run, tie.at_ms), (tie.other_run, tie.other_ms)) if run == one.run
    )
    in_quadrature = math.hypot(tie.u_ms, first.u_ms(at_ms))
    assert entry.u_ms == pytest.approx(in_quadrature, rel=0.05)
    assert entry.u_ms >= in_quadrature


def test_a_chain_of_phones_is_followed() -> None:
    one, other, scans = two_phones()
    third = Phone("third", run="third's run", began_ms=-1e6)
    third.tap(26 * MINUTE_MS)
    scans += [scan(third, other, 22 * MINUTE_MS, 200), scan(other, third, 22 * MINUTE_MS, 200)]
    clocks = fit_phones([third.sent(), one.sent(), other.sent()], ties_of(scans))
    assert clocks["third"].entries[0].state == TIED
    assert clocks["third"].entries[0].u_ms > clocks["other"].entries[0].u_ms
    assert all_within(third, clocks["third"])


def test_own_exchanges_count_more_than_a_tie() -> None:
    one, other, scans = two_phones()
    other.exchange(24 * MINUTE_MS)
    clocks = fit_phones([one.sent(), other.sent()], ties_of(scans))
    assert clocks["other"].entries == fit_phones([other.sent()])["other"].entries


def test_another_run_of_a_tied_phone_is_bridged() -> None:
    one, other, scans = two_phones()
    other.restart(40 * MINUTE_MS)
    late = other.tap(50 * MINUTE_MS)
    clocks = fit_phones([one.sent(), other.sent()], ties_of(scans))
    assert entry_of(clocks["other"], late).state == BRIDGED
    assert all_within(other, clocks["other"])


def test_a_tie_to_a_bridged_phone_is_worth_no_more_than_that() -> None:
    one, _first, offline = restarted(later=False)
    other = Phone("other", run="other's run", began_ms=-5000)
    tied = other.tap(122 * MINUTE_MS)
    scans = [scan(one, other, 121 * MINUTE_MS, 150), scan(other, one, 121 * MINUTE_MS, 150)]
    clocks = fit_phones([one.sent(), other.sent()], ties_of(scans))
    told = entry_of(clocks["other"], tied)
    assert told.state == BRIDGED
    assert told.u_ms > entry_of(clocks["phone"], offline).u_ms
    assert all_within(other, clocks["other"])


def test_ties_with_runs_that_nobody_sent_are_passed_over() -> None:
    one, other, _scans = two_phones()
    ties = ties_of([Scan("who?", 5.0, one.run, 9.0), Scan("who?", 5.0, "x", 1.0)])
    assert fit_phones([one.sent(), other.sent()], ties) == fit_phones([one.sent(), other.sent()])


def test_a_run_that_two_phones_call_their_own_is_tied_to_nobody() -> None:
    one, other, scans = two_phones()
    thief = PhoneIn("thief", {}, [EntryIn("t", one.run, 5.0, BEGIN_MS)])
    clocks = fit_phones([thief, one.sent(), other.sent()], ties_of(scans))
    assert clocks["one"].entries[0].state == MEASURED
    assert clocks["other"].entries[0].state == UNKNOWN
    assert clocks["thief"].entries[0].state == UNKNOWN


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


# --- whatever comes -----------------------------------------------------------------------------


@st.composite
def days(draw) -> tuple[list[Phone], list[Scan]]:
    """Up to three phones that tap, exchange, sleep, restart and scan each other."""
    phones = []
    for n in range(draw(st.integers(1, 3))):
        phone = Phone(f"p{n}", run=f"p{n} first", rate=draw(st.floats(-5e-5, 5e-5)))
        phone.wall_ahead_ms = draw(st.floats(-1e5, 1e5))
        phone.began_ms = -draw(st.floats(0, 1e6))
        phone.stops = [(draw(st.floats(0, HOUR_MS)), draw(st.floats(500, HOUR_MS)))]
        phone.sets = [(draw(st.floats(0, 3 * HOUR_MS)), draw(st.floats(-5000, 5000)))]
        whens = sorted(draw(st.lists(st.floats(1000, 3 * HOUR_MS), min_size=1, max_size=8)))
        for at in whens:
            what = draw(st.sampled_from(["tap", "tap", "exchange", "restart"]))
            getattr(phone, what)(at)
        phones.append(phone)
    told = []
    for _ in range(draw(st.integers(0, 3))):
        shows, reads = draw(st.sampled_from(phones)), draw(st.sampled_from(phones))
        told.append(scan(shows, reads, 3.1 * HOUR_MS, draw(st.floats(50, 900))))
    return phones, told


@few
@given(days(), st.integers(0, 2**32))
def test_order_and_doubling_change_nothing(day, seed: int) -> None:
    phones, scans = day
    sent = [phone.sent() for phone in phones]
    clocks = fit_phones(sent, ties_of(scans))
    random = plain_random.Random(seed)

    def twice(told):
        more = [*told, *told[:3]]
        random.shuffle(more)
        return more

    again = twice(
        [
            PhoneIn(
                one.key,
                {run: twice(list(its)) for run, its in twice(list(one.exchanges.items()))},
                twice(list(one.entries)),
            )
            for one in sent
        ]
    )
    assert fit_phones(again, twice(ties_of(twice(scans)))) == clocks


@few
@given(days(), st.floats(-1e9, 1e9))
def test_a_server_that_is_later_by_a_constant_moves_all_alike(day, later_ms: float) -> None:
    phones, scans = day
    sent = [phone.sent() for phone in phones]
    moved = [
        replace(
            one,
            exchanges={
                run: [
                    replace(
                        e, server_ms=e.server_ms + later_ms, answered_ms=e.answered_ms + later_ms
                    )
                    for e in its
                ]
                for run, its in one.exchanges.items()
            },
        )
        for one in sent
    ]
    clocks, late = (fit_phones(told, ties_of(scans)) for told in (sent, moved))
    for key, clock in clocks.items():
        others = {one.client_id: one for one in late[key].entries}
        for one in clock.entries:
            other = others[one.client_id]
            assert other.state == one.state and other.doubtful == one.doubtful
            by_ms = 0.0 if one.state == UNKNOWN else later_ms
            assert other.instant_ms == pytest.approx(one.instant_ms + by_ms, rel=0, abs=0.01)
            assert (other.u_ms or 0) == pytest.approx(one.u_ms or 0, rel=1e-4)
    assert [line.state for line in summary(clocks, now_ms=BEGIN_MS)] == [
        line.state for line in summary(late, now_ms=BEGIN_MS)
    ]
