"""Clocks that stopped asleep, wall clocks that somebody set, and a server's: each is told from the
others, and moves no entry that it should not."""

from __future__ import annotations

from dataclasses import replace

import pytest

from clinics.compute.phone_clock import (
    BRIDGED,
    MEASURED,
    MONOTONIC,
    SERVER,
    UNDECIDED,
    WALL,
    PhoneClock,
)
from tests.clinics.simulated_phone import HOUR_MS, MINUTE_MS, Phone, all_within, entry_of, stepped


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
