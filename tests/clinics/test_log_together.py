"""Phones and the form at the same moment, in threads with connections of their own: one start is
one swim, and nothing is lost."""

from __future__ import annotations

import datetime as dt

import pytest

from clinics.actions.log import log_start
from clinics.models import Clinic, Entry, StartLogEntry
from tests.cast import Cast, build_cast
from tests.clinics.phone_tools import SimPhone, at, enter, goes_of, send
from tests.clinics.test_board_together import at_once

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def clinic(transactional_db: None) -> tuple[Cast, Clinic]:
    cast = build_cast()
    enter(cast.clinic, range(101, 104))
    return cast, cast.clinic


def phone(name: str) -> SimPhone:
    made = SimPhone(f"phone-of-{name}")
    made.exchange(-30)
    for place, number in enumerate((101, 102, 103)):
        made.tap(60 + 90 * place + len(name) / 10, number)
    return made


def test_phones_that_send_the_same_starts_at_once_make_one_swim_each(
    clinic: tuple[Cast, Clinic],
) -> None:
    cast, its = clinic
    bodies = [phone(name).body() for name in ("liv", "liv", "ida", "oskar")]
    told = at_once(*(lambda body=body: send(its, cast.crew, body) for body in bodies))
    assert not [one for one in told if isinstance(one, Exception)]
    assert StartLogEntry.objects.filter(clinic=its).count() == 9
    assert [len(goes_of(its, number)) for number in (101, 102, 103)] == [1, 1, 1]


def test_a_phone_and_the_form_at_once_make_one_swim(clinic: tuple[Cast, Clinic]) -> None:
    cast, its = clinic
    entry = Entry.objects.get(clinic=its, number=101)
    body = phone("liv").body()
    told = at_once(
        lambda: send(its, cast.crew, body),
        lambda: log_start(
            clinic=its,
            client_id="form-00000001",
            entry=entry,
            instant=at(60) + dt.timedelta(seconds=1),
            outcome="away",
            by=cast.checker,
        ),
    )
    assert not [one for one in told if isinstance(one, Exception)]
    assert StartLogEntry.objects.filter(entry=entry).count() == 2
    assert len(goes_of(its, 101)) == 1
