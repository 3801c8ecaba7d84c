"""Whatever phones did all day: order and doubling change nothing, a later server moves all."""

from __future__ import annotations

import random as plain_random
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from clinics.compute.phone_clock import (
    UNKNOWN,
    PhoneIn,
    Scan,
    fit_phones,
    summary,
    ties_of,
)
from tests.clinics.simulated_phone import BEGIN_MS, HOUR_MS, Phone, scan

few = settings(max_examples=60, deadline=None)


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
