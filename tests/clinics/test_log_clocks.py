"""Lines of phones whose clocks are imposed: restarted, asleep, set, tied by scanning each other."""

from __future__ import annotations

import pytest

from clinics.models import Clinic, StartLogEntry, Swim
from tests.cast import Cast
from tests.clinics.phone_tools import SimPhone, at, enter, goes_of, off_ms, send

TOLD_MS = 50.0  # the bar of the start log


@pytest.fixture
def clinic(cast: Cast) -> Clinic:
    enter(cast.clinic, range(101, 111))
    return cast.clinic


def lines_of(clinic: Clinic) -> dict[int, StartLogEntry]:
    lines = StartLogEntry.objects.filter(clinic=clinic).select_related("entry")
    return {line.entry.number: line for line in lines if line.entry}


def assert_covered(line: StartLogEntry, at_s: float, *, most_ms: float) -> None:
    """Three times the uncertainty that is told: a test that holds on every draw."""
    assert line.clock_u_ms is not None
    assert off_ms(line, at_s) < min(max(3 * line.clock_u_ms, 1.0), most_ms)


def test_a_later_exchange_improves_lines_that_came_before(cast: Cast, clinic: Clinic) -> None:
    phone = SimPhone("phone-of-liv", ahead_s=300.0)
    phone.tap(600, 101)
    send(clinic, cast.crew, phone.body())
    line, swim = lines_of(clinic)[101], goes_of(clinic, 101)[0]
    assert (line.clock_state, line.clock_u_ms, off_ms(line, 600)) == ("unknown", None, 300_000)
    assert swim.start_at == line.instant and swim.start_u_ms > 60_000
    phone.exchange(700)
    send(clinic, cast.crew, phone.body(exchanges=phone.stored["exchanges"]))
    line.refresh_from_db()
    swim.refresh_from_db()
    assert line.clock_state == "measured"
    assert_covered(line, 600, most_ms=TOLD_MS)
    assert swim.start_at == line.instant and 150 < swim.start_u_ms < 152
    assert swim.start_kind == "tap"


def test_each_run_of_a_restarted_phone_is_placed_by_itself(cast: Cast, clinic: Clinic) -> None:
    """The middle run was never on the network: its wall clock tells, between the others."""
    phone = SimPhone("phone-of-liv", ahead_s=-7.25)
    phone.exchange(-30)
    phone.tap(60, 101)
    phone.restart(200)
    phone.tap(300, 102)
    phone.restart(400)
    phone.tap(500, 103)
    phone.exchange(600)
    send(clinic, cast.crew, phone.body())
    lines = lines_of(clinic)
    assert [lines[n].clock_state for n in (101, 102, 103)] == ["measured", "bridged", "measured"]
    assert len({line.clock_run for line in lines.values()}) == 3
    for number, at_s in ((101, 60), (102, 300), (103, 500)):
        assert_covered(lines[number], at_s, most_ms=TOLD_MS)
        assert not lines[number].clock_doubtful


def test_a_phone_that_slept_is_cut_where_its_clock_stopped(cast: Cast, clinic: Clinic) -> None:
    phone = SimPhone("phone-of-liv", ahead_s=1.0)
    phone.exchange(-30)
    phone.tap(60, 101)
    phone.sleep(240)
    phone.tap(400, 102)
    phone.exchange(500)
    send(clinic, cast.crew, phone.body())
    lines = lines_of(clinic)
    for number, at_s in ((101, 60), (102, 400)):
        assert lines[number].clock_state == "measured"
        assert_covered(lines[number], at_s, most_ms=TOLD_MS)


def test_a_wall_clock_that_was_set_moves_no_line_of_a_measured_run(
    cast: Cast, clinic: Clinic
) -> None:
    phone = SimPhone("phone-of-liv", ahead_s=3600.0)
    phone.exchange(-30)
    phone.tap(60, 101)
    phone.ahead_s = 0.0
    phone.tap(400, 102)
    phone.exchange(500)
    send(clinic, cast.crew, phone.body())
    for number, at_s in ((101, 60), (102, 400)):
        assert_covered(lines_of(clinic)[number], at_s, most_ms=TOLD_MS)


def test_a_step_that_nothing_decides_is_flagged(cast: Cast, clinic: Clinic) -> None:
    """Nothing was exchanged in this run: whether it slept or was set cannot be told."""
    phone = SimPhone("phone-of-liv")
    phone.tap(60, 101)
    phone.sleep(30)
    phone.tap(400, 102)
    phone.restart(500)
    phone.exchange(600)
    send(clinic, cast.crew, phone.body())
    lines = lines_of(clinic)
    assert {line.clock_state for line in lines.values()} == {"bridged"}
    assert all(line.clock_doubtful for line in lines.values())


def test_a_clock_a_day_off_is_taken_as_told_and_flagged(cast: Cast, clinic: Clinic) -> None:
    phone = SimPhone("phone-of-liv", ahead_s=-40 * 86_400)
    phone.tap(60, 101)
    send(clinic, cast.crew, phone.body())
    line = lines_of(clinic)[101]
    assert (line.clock_state, line.clock_doubtful) == ("unknown", True)
    assert line.instant == at(60 - 40 * 86_400)
    phone.exchange(100)
    send(clinic, cast.crew, phone.body())
    line.refresh_from_db()
    assert (line.clock_state, line.clock_doubtful) == ("measured", False)
    assert off_ms(line, 60) < TOLD_MS


@pytest.mark.parametrize("first", ["liv", "ida"])
def test_two_phones_that_scan_each_other_share_a_clock(
    cast: Cast, clinic: Clinic, first: str
) -> None:
    """Only Ida's phone ever reaches the network; Liv's comes in later from a cable, or on the
    next day, without an exchange of its own."""
    liv = SimPhone("phone-of-liv", ahead_s=912.0)
    ida = SimPhone("phone-of-ida", ahead_s=-3.0)
    liv.tap(60, 101)
    ida.tap(150, 102)
    liv.scan(200, ida)
    ida.exchange(300)
    phones = [liv, ida] if first == "liv" else [ida, liv]
    for phone in phones:
        send(clinic, cast.crew, phone.body())
    lines = lines_of(clinic)
    assert (lines[101].clock_state, lines[102].clock_state) == ("tied", "measured")
    assert_covered(lines[101], 60, most_ms=150)  # reading a code takes up to 0.25 s here
    assert_covered(lines[102], 150, most_ms=TOLD_MS)
    (swim,) = goes_of(clinic, 101)
    assert swim.start_at == lines[101].instant


def test_a_heard_start_is_not_moved_with_its_line(cast: Cast, clinic: Clinic) -> None:
    phone = SimPhone("phone-of-liv", ahead_s=300.0)
    phone.tap(60, 101)
    send(clinic, cast.crew, phone.body())
    Swim.objects.filter(log_entry__isnull=False).update(
        start_at=at(59.8), start_kind="heard", start_u_ms=2.0
    )
    phone.exchange(100)
    send(clinic, cast.crew, phone.body())
    (swim,) = goes_of(clinic, 101)
    assert (swim.start_at, swim.start_kind, swim.start_u_ms) == (at(59.8), "heard", 2.0)
    assert off_ms(lines_of(clinic)[101], 60) < TOLD_MS


def test_what_a_fit_took_off_a_tap_stays_taken_off(cast: Cast, clinic: Clinic) -> None:
    """Aligning takes from all taps how late people tap; a clock known better adds its own part."""
    phone = SimPhone("phone-of-liv", ahead_s=300.0)
    phone.tap(60, 101)
    send(clinic, cast.crew, phone.body())
    swim = goes_of(clinic, 101)[0]
    Swim.objects.filter(pk=swim.pk).update(start_at=at(360 - 0.2))
    phone.exchange(100)
    send(clinic, cast.crew, phone.body())
    assert off_ms(goes_of(clinic, 101)[0], 60 - 0.2) < TOLD_MS
