"""Contradictions of a clinic's start log: shown until one line is undone, and nothing is lost."""

from __future__ import annotations

from typing import Any

import pytest

from clinics.actions.align_inputs import LINE, gather
from clinics.actions.log import log_start, undo_start
from clinics.actions.log_conflicts import conflicts_of
from clinics.actions.log_swims import starts_away
from clinics.models import Clinic, Duty, Entry, StartLogEntry
from portal.models import User
from tests.cast import Cast, make_user
from tests.clinics.phone_tools import SimPhone, at, enter, goes_of, off_ms, send


@pytest.fixture
def clinic(cast: Cast) -> Clinic:
    enter(cast.clinic, range(101, 111))
    return cast.clinic


@pytest.fixture
def ida(cast: Cast) -> User:
    return make_user("ida@harbourlane.example", "Ida Renn")


@pytest.fixture
def phones() -> tuple[SimPhone, SimPhone]:
    phones = SimPhone("phone-of-liv", name="Liv"), SimPhone("phone-of-ida", name="Ida")
    for phone in phones:
        phone.exchange(-30)
    return phones


def test_the_loggers_line_gives_the_start_whichever_came_first(
    cast: Cast, clinic: Clinic, ida: User, phones: tuple[SimPhone, SimPhone]
) -> None:
    Duty.objects.create(clinic=clinic, user=ida, kind=Duty.Kind.LOGGER)
    liv_s, ida_s = phones
    liv_s.tap(60, 101)
    ida_s.tap(60.6, 101)
    ida_s.tap(150, 102)
    liv_s.tap(150.4, 102)
    send(clinic, cast.crew, liv_s.body())
    assert off_ms(goes_of(clinic, 101)[0], 60) < 50
    send(clinic, ida, ida_s.body())
    for number, at_s in ((101, 60.6), (102, 150)):
        (swim,) = goes_of(clinic, number)
        assert swim.log_entry is not None and swim.log_entry.logged_by == ida
        assert off_ms(swim, at_s) < 50
    found = conflicts_of(clinic)
    assert [(one.kind, one.settled) for one in found] == [("two-phones-one-start", True)] * 2
    assert all("The line of Ida counts" in one.words for one in found)


def test_two_swimmers_in_one_lane_keep_both_swims_until_one_line_is_undone(
    cast: Cast, clinic: Clinic, phones: tuple[SimPhone, SimPhone]
) -> None:
    liv, ida = phones
    liv.tap(60, 101)
    wrong = ida.tap(60.4, 102)
    for phone in phones:
        send(clinic, cast.crew, phone.body())
    assert goes_of(clinic, 101) and goes_of(clinic, 102)
    (found,) = conflicts_of(clinic)
    assert (found.kind, found.numbers) == ("too-close", (101, 102))
    ida.undo(wrong)
    send(clinic, cast.crew, ida.body())
    assert conflicts_of(clinic) == []
    assert goes_of(clinic, 101) and not goes_of(clinic, 102)


def test_away_and_no_show_keeps_the_swim_until_one_line_is_undone(
    cast: Cast, clinic: Clinic, phones: tuple[SimPhone, SimPhone]
) -> None:
    liv, ida = phones
    away = liv.tap(60, 101)
    ida.tap(75, 101, "no-show")
    for phone in phones:
        send(clinic, cast.crew, phone.body())
    (found,) = conflicts_of(clinic)
    assert found.kind == "away-and-not" and goes_of(clinic, 101)
    undo_start(clinic=clinic, client_id=away, by=cast.crew)
    assert conflicts_of(clinic) == [] and not goes_of(clinic, 101)


def test_second_go_that_is_wished_for_and_does_not_come_is_none(
    cast: Cast, clinic: Clinic, phones: tuple[SimPhone, SimPhone]
) -> None:
    liv, ida = phones
    liv.tap(60, 101)
    ida.tap(900, 101, "no-show")
    for phone in phones:
        send(clinic, cast.crew, phone.body())
    assert len(conflicts_of(clinic)) == 1
    liv.wish(300, 101, "second-go")
    send(clinic, cast.crew, liv.body())
    assert conflicts_of(clinic) == []


def test_a_line_from_the_form_beside_a_phones_is_one_start(
    cast: Cast, clinic: Clinic, phones: tuple[SimPhone, SimPhone]
) -> None:
    phone, _other = phones
    entry = Entry.objects.get(clinic=clinic, number=101)
    told: dict[str, Any] = {"clinic": clinic, "entry": entry, "outcome": "away", "by": cast.crew}
    log_start(client_id="form-00000001", instant=at(60.9), **told)
    phone.tap(60, 101)
    send(clinic, cast.crew, phone.body())
    (swim,) = goes_of(clinic, 101)
    assert off_ms(swim, 60) < 50  # the phone's clock is known better
    assert StartLogEntry.objects.filter(entry=entry).count() == 2
    (found,) = conflicts_of(clinic)
    assert (found.kind, found.settled) == ("two-phones-one-start", True)


@pytest.mark.parametrize("count", [1, 3])
def test_conflicts_take_as_many_queries_for_many_lines(
    cast: Cast,
    clinic: Clinic,
    phones: tuple[SimPhone, SimPhone],
    count: int,
    django_assert_num_queries: Any,
) -> None:
    for phone in phones:
        for place in range(count):
            phone.tap(60 + 90 * place, 101 + place)
        send(clinic, cast.crew, phone.body())
    with django_assert_num_queries(3):
        assert len(conflicts_of(clinic)) == count


def test_starts_of_two_phones_are_counted_and_aligned_once(
    cast: Cast, clinic: Clinic, phones: tuple[SimPhone, SimPhone]
) -> None:
    for phone, late_s in zip(phones, (0.0, 0.3), strict=True):
        phone.tap(60 + late_s, 101)
        phone.tap(150 + late_s, 102, "false-start")
        phone.tap(180 + late_s, 102)
        phone.tap(270 + late_s, 103, "not-filmed")
        send(clinic, cast.crew, phone.body())
    assert starts_away(clinic) == 2
    starts = gather(clinic, sound_ties=False).starts
    others = [start for start in starts if start.key.startswith(LINE)]
    logged = clinic.start_log.exclude(outcome="away").filter(phone__key="phone-of-liv")
    assert len(others) == 2 and logged.count() == 2
    swims = {str(goes_of(clinic, number)[0].pk) for number in (101, 102)}
    assert swims <= {start.key for start in starts}
