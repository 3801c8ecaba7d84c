"""What a phone stored at the pool, taken in: swims, instants, doubles, bad items."""

from __future__ import annotations

import pytest

from clinics.models import Clinic, StartLogEntry, Swim
from tests.cast import Cast
from tests.clinics.phone_tools import SimPhone, enter, goes_of, off_ms, send


@pytest.fixture
def clinic(cast: Cast) -> Clinic:
    """The cast's clinic with forty swimmers who have not swum yet."""
    enter(cast.clinic, range(101, 141))
    return cast.clinic


def starts_of(clinic: Clinic) -> dict[int, Swim]:
    swims = Swim.objects.filter(entry__clinic=clinic, entry__number__gte=101)
    return {swim.entry.number: swim for swim in swims.select_related("entry")}


def test_forty_lines_taken_offline_become_forty_swims_within_50_ms(
    cast: Cast, clinic: Clinic
) -> None:
    """The bar of the start log's journey: instants within 50 ms of the taps."""
    phone = SimPhone("phone-of-liv", ahead_s=-41.7, slow_ppm=22.0)
    phone.exchange(-30)  # as the page was opened
    taps = {number: 90.0 * place for place, number in enumerate(range(101, 141))}
    for number, at_s in taps.items():
        phone.tap(at_s, number)
    phone.exchange(3700)
    done = send(clinic, cast.crew, phone.body())
    assert (done.lines, done.settled.made, done.refused) == (40, 40, [])
    swims = starts_of(clinic)
    assert set(swims) == set(taps)
    assert max(off_ms(swims[number], at_s) for number, at_s in taps.items()) < 50
    again = send(clinic, cast.crew, phone.body())
    assert (again.lines, again.settled.made) == (0, 0)
    assert set(again.kept) == set(done.kept)
    assert StartLogEntry.objects.filter(clinic=clinic).count() == 40


def test_a_later_exchange_improves_lines_that_came_before(cast: Cast, clinic: Clinic) -> None:
    phone = SimPhone("phone-of-liv", ahead_s=300.0)
    phone.tap(600, 101)
    send(clinic, cast.crew, phone.body())
    line, swim = StartLogEntry.objects.get(), goes_of(clinic, 101)[0]
    assert (line.clock_state, line.clock_u_ms, off_ms(line, 600)) == ("unknown", None, 300_000)
    assert swim.start_at == line.instant and swim.start_u_ms > 60_000
    phone.exchange(700)
    send(clinic, cast.crew, phone.body(exchanges=phone.stored["exchanges"]))
    line.refresh_from_db()
    swim.refresh_from_db()
    assert line.clock_state == "measured" and off_ms(line, 600) < 50
    assert swim.start_at == line.instant and 150 < swim.start_u_ms < 152
