"""Many confirm in the same moment: no place is given twice, nobody is left between."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import pytest
from django.db import connection

from clinics.actions.sign_up import confirm
from clinics.actions.sign_up_end import withdraw
from clinics.models import SignUp
from tests.cast import build_cast
from tests.clinics.sign_up_tools import State, asks, mail_of, open_sheet, signs_up

NAMES = [f"Swimmer {letter}" for letter in "ABCDEF"]


def _confirm(row: SignUp) -> str:
    try:
        return confirm(sign_up=row).state
    finally:
        connection.close()


def _withdraw(row: SignUp) -> str:
    try:
        return withdraw(sign_up=row, by=None).state
    finally:
        connection.close()


def test_last_places_are_given_once(transactional_db: None) -> None:
    sheet = open_sheet(build_cast(), places=2)
    rows = [asks(sheet, name, mail_of(name)) for name in NAMES]
    with ThreadPoolExecutor(6) as pool:
        states = list(pool.map(_confirm, [*rows, rows[0]]))
    assert sorted(states[:6]) == [State.SIGNED_UP] * 2 + [State.WAITING] * 4
    assert states[6] == states[0]
    times = SignUp.objects.values_list("confirmed_at", flat=True)
    assert len(set(times)) == len(NAMES)


def test_two_withdraw_at_once_and_two_move_up(transactional_db: None) -> None:
    sheet = open_sheet(build_cast(), places=2)
    rows = [signs_up(sheet, name) for name in NAMES]
    with ThreadPoolExecutor(2) as pool:
        list(pool.map(_withdraw, rows[:2]))
    states = list(SignUp.objects.order_by("confirmed_at").values_list("state", flat=True))
    expected = [State.WITHDRAWN] * 2 + [State.SIGNED_UP] * 2 + [State.WAITING] * 2
    assert states == expected


@pytest.mark.parametrize("places", [1, 3])
def test_the_same_person_from_two_browsers_is_one(transactional_db: None, places: int) -> None:
    sheet = open_sheet(build_cast(), places=places)
    rows = [asks(sheet), asks(sheet)]
    with ThreadPoolExecutor(2) as pool:
        assert list(pool.map(_confirm, rows)) == [State.SIGNED_UP] * 2
    assert SignUp.objects.count() == 1
