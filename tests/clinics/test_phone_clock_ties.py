"""A phone that has its clock through another one, whose code it scanned."""

from __future__ import annotations

import math

import pytest

from clinics.compute.phone_clock import (
    BRIDGED,
    MEASURED,
    TIED,
    UNKNOWN,
    EntryIn,
    PhoneIn,
    Scan,
    fit_phones,
    ties_of,
)
from tests.clinics.simulated_phone import (
    BEGIN_MS,
    MINUTE_MS,
    Phone,
    all_within,
    entry_of,
    restarted,
    scan,
    two_phones,
)


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
