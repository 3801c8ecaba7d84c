"""The demo's phones come in as real ones do, once."""

from __future__ import annotations

from clinics.actions.day_board import phones_now
from clinics.actions.log_conflicts import conflicts_of
from clinics.management.demo_phones import phones_in_demo
from clinics.models import StartLogEntry, StationWord
from tests.cast import Cast
from tests.clinics.phone_tools import at, enter, goes_of


def test_demo_phones_log_the_hour_once(cast: Cast) -> None:
    clinic = cast.clinic
    clinic.entries.update(order=500)
    enter(clinic, range(101, 121))
    for _ in range(2):
        phones_in_demo(clinic, logger=cast.crew, helper=cast.checker, begins_at=at(0))
    assert StartLogEntry.objects.filter(clinic=clinic).count() == 13 + 4
    assert sum(bool(goes_of(clinic, number)) for number in range(101, 113)) == 11
    assert StationWord.objects.count() == 2
    kinds = [(one.kind, one.settled) for one in conflicts_of(clinic)]
    assert kinds.count(("two-phones-one-start", True)) == 3
    assert kinds.count(("away-and-not", False)) == 1 and len(kinds) == 4
    told = {one.phone.name: one for one in phones_now(clinic, at(1200))}
    clocks = {name: one.clock.state for name, one in told.items() if one.clock}
    assert clocks == {"Start side, logger": "measured", "Far end": "tied"}
    ahead_ms = {name: one.clock.ahead_ms or 0.0 for name, one in told.items() if one.clock}
    assert abs(ahead_ms["Start side, logger"] + 41_000) < 50
    assert abs(ahead_ms["Far end"] - 3_000) < 300
