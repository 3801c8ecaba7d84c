"""Whatever phones send comes in any order, in any parts, any number of times: the same log, the
same swims, the same instants, the same wishes."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from clinics.models import (
    Clinic,
    DayWish,
    Phone,
    StartLogEntry,
    Swim,
    TakenBack,
    WishWord,
)
from portal.models import Club, User
from tests.cast import make_clinic, make_member, make_user
from tests.clinics.phone_tools import LISTS, SimPhone, enter, send

NUMBERS = (1, 2, 3)


@pytest.fixture
def crew(db: None) -> User:
    club = Club.objects.create(name="Harbour Lane Masters")
    crew = make_user("crew@harbourlane.example", "Petra Voss")
    make_member(club, crew, "crew")
    enter(make_clinic(club, "autumn", "Autumn clinic"), range(1, 4))
    return crew


def phones_at_the_pool(draw: st.DataObject) -> list[SimPhone]:
    """Two of them, with clocks that are wrong, restart and sleep, and people who tap what they
    like; starts of the same swimmers within seconds and minutes of each other."""
    phones = [
        SimPhone(f"phone-{name}", ahead_s=draw.draw(st.sampled_from([0.0, 3.0, -300.0, 300.0])))
        for name in ("of-liv", "of-ida")
    ]
    steps = st.sampled_from(["tap", "tap", "tap", "undo", "exchange", "restart", "sleep", "scan"])
    for number, step in enumerate(draw.draw(st.lists(steps, min_size=4, max_size=14))):
        phone = draw.draw(st.sampled_from(phones))
        at_s = 3.7 * number if draw.draw(st.booleans()) else 100.0 * number
        if step == "tap":
            outcome = draw.draw(st.sampled_from(["away", "away", "no-show", "skipped"]))
            phone.tap(at_s, draw.draw(st.sampled_from(NUMBERS)), outcome)
        elif step == "undo" and phone.stored["lines"]:
            phone.undo(draw.draw(st.sampled_from(phone.stored["lines"]))["client_id"])
        elif step == "exchange":
            phone.exchange(at_s, times=3)
        elif step == "restart":
            phone.restart(at_s)
        elif step == "sleep":
            phone.sleep(60)
        elif step == "scan":
            phones[0].scan(at_s, phones[1], times=2)
        phone.wish(at_s, draw.draw(st.sampled_from(NUMBERS)), "second-go", gone=number % 2 == 0)
    return phones


def bodies_of(draw: st.DataObject, phones: list[SimPhone]) -> list[dict[str, Any]]:
    """Each item in a body of its own or with others of its list, some of them doubled."""
    bodies = []
    for phone in phones:
        for name in LISTS:
            items = phone.stored[name]
            parts = draw.draw(st.integers(1, 3)) if items else 0
            bodies += [phone.body(**{name: items[part::parts]}) for part in range(parts)]
    again = draw.draw(st.lists(st.sampled_from(bodies), max_size=4)) if bodies else []
    return draw.draw(st.permutations([*bodies, *again]))


def state_of(clinic: Clinic) -> dict[str, Any]:
    lines = StartLogEntry.objects.filter(clinic=clinic).select_related("entry", "swim")
    return {
        "lines": {
            line.client_id: (
                line.entry.number if line.entry else None,
                line.outcome,
                line.instant,
                line.clock_state,
                line.clock_u_ms,
                line.clock_doubtful,
                line.undone_at is not None,
            )
            for line in lines
        },
        "swims": {
            line.client_id: (swim.go, swim.start_at, swim.start_u_ms, swim.entry_id)
            for line in lines
            if (swim := Swim.objects.filter(log_entry=line).first())
        },
        "wishes": set(DayWish.objects.values_list("entry__number", "kind", "client_id")),
    }


def forget(clinic: Clinic) -> None:
    Swim.objects.filter(entry__clinic=clinic).delete()
    clinic.start_log.all().delete()
    for rows in (Phone, TakenBack):
        rows.objects.filter(clinic=clinic).delete()
    for rows in (DayWish, WishWord):
        rows.objects.filter(entry__clinic=clinic).delete()


@settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(st.data())
def test_any_order_and_doubling_of_bodies_gives_the_same(crew: User, data: st.DataObject) -> None:
    clinic = Clinic.objects.get()
    phones = phones_at_the_pool(data)
    forget(clinic)
    for phone in phones:
        send(clinic, crew, phone.body())
    once = state_of(clinic)
    forget(clinic)
    for body in bodies_of(data, phones):
        send(clinic, crew, body)
    assert state_of(clinic) == once
    starts = {key for key, line in once["lines"].items() if line[1] == "away" and not line[6]}
    assert set(once["swims"]) <= starts
    goes = sorted((swim[3], swim[0]) for swim in once["swims"].values())
    assert len(set(goes)) == len(goes)
