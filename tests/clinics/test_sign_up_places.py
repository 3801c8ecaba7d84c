"""Full: a waiting list with its order, and nobody moves up silently."""

from __future__ import annotations

import datetime as dt

import pytest
from django.utils import timezone

from clinics.actions.errors import BadInput
from clinics.actions.sign_up import Details
from clinics.actions.sign_up_admin import add_by_hand, decline
from clinics.actions.sign_up_end import delete, withdraw
from clinics.actions.sign_up_places import give_place
from clinics.actions.sign_up_sheet import room_in_pool_hour, set_sheet
from clinics.actions.sign_up_state import counts_of, place_on_waiting_list
from clinics.models import Clinic, ConsentText, EntryNote, PoolHour, SignUp, SignUpSheet
from portal.models import AuditEntry, OutboxMail
from tests.cast import Cast
from tests.clinics.consent_tools import FILM
from tests.clinics.sign_up_tools import (
    State,
    ahead,
    asks,
    at_sheet,
    last_mail,
    mail_of,
    open_sheet,
    opened,
    page_of,
    signs_up,
)

NAMES = ("Noor Castellan", "Rune Tallis", "Pia Lindholm", "Juno Halloran")


@pytest.fixture
def full(cast: Cast) -> SignUpSheet:
    """Two places, four who want one: the last two wait, in this order."""
    sheet = open_sheet(cast, places=2)
    for name in NAMES:
        signs_up(sheet, name)
    return sheet


def states() -> list[str]:
    return list(SignUp.objects.order_by("confirmed_at").values_list("state", flat=True))


def of(name: str) -> SignUp:
    return SignUp.objects.select_related("sheet__clinic__club").get(name=name)


def subjects(name: str) -> list[str]:
    mails = OutboxMail.objects.filter(to=mail_of(name)).order_by("created_at")
    return [mail.subject.split(":")[0] for mail in mails]


def test_who_comes_late_waits_and_is_told_the_place_at_once_and_by_mail(full: SignUpSheet) -> None:
    assert states() == [State.SIGNED_UP, State.SIGNED_UP, State.WAITING, State.WAITING]
    assert [place_on_waiting_list(of(name)) for name in NAMES] == [0, 0, 1, 2]
    assert last_mail(mail_of(NAMES[3])).subject.startswith("You are number 2 on the waiting list")
    assert "number 2 on the waiting list" in page_of(opened(mail_of(NAMES[3])), "/sign-up/mine/")
    assert "2 wait; you can sign up for the waiting list" in page_of(at_sheet(full), "/sign-up/")


def test_what_is_not_confirmed_takes_no_place(cast: Cast) -> None:
    sheet = open_sheet(cast, places=1)
    asks(sheet, "Rune Tallis", mail_of("Rune Tallis"))
    assert signs_up(sheet, "Noor Castellan").state == State.SIGNED_UP
    assert counts_of(sheet).to_confirm == 1


def test_somebody_withdraws_the_next_one_moves_up_and_is_told(full: SignUpSheet) -> None:
    withdraw(sign_up=of(NAMES[0]), by=None)
    assert [of(name).state for name in NAMES] == [
        State.WITHDRAWN,
        State.SIGNED_UP,
        State.SIGNED_UP,
        State.WAITING,
    ]
    assert subjects(NAMES[2])[-1] == "You have a place now"
    assert (
        place_on_waiting_list(of(NAMES[3])) == 1
        and subjects(NAMES[3])[-1] != subjects(NAMES[2])[-1]
    )
    assert AuditEntry.objects.filter(action="sign-up.move-up").count() == 1
    assert not EntryNote.objects.filter(sign_up=of(NAMES[0])).exists()


def test_withdrawing_twice_moves_one_up(full: SignUpSheet) -> None:
    for _ in range(2):
        withdraw(sign_up=of(NAMES[0]), by=None)
    assert of(NAMES[3]).state == State.WAITING


def test_more_places_are_given_in_order_of_time(cast: Cast, full: SignUpSheet) -> None:
    set_sheet(clinic=cast.clinic, values={"places": 3}, by=cast.admin)
    assert [of(name).state for name in NAMES[2:]] == [State.SIGNED_UP, State.WAITING]
    assert subjects(NAMES[2])[-1] == "You have a place now"


def test_fewer_places_take_nobodys_away(cast: Cast, full: SignUpSheet) -> None:
    set_sheet(clinic=cast.clinic, values={"places": 1}, by=cast.admin)
    assert states() == [State.SIGNED_UP, State.SIGNED_UP, State.WAITING, State.WAITING]
    withdraw(sign_up=of(NAMES[0]), by=None)
    assert of(NAMES[2]).state == State.WAITING  # one has the one place


def test_deleted_or_declined_the_next_one_moves_up(cast: Cast, full: SignUpSheet) -> None:
    delete(sign_up=of(NAMES[0]), by=None)
    assert of(NAMES[2]).state == State.SIGNED_UP
    decline(sign_up=of(NAMES[1]), words="Come in spring, we keep a place.", by=cast.admin)
    assert of(NAMES[3]).state == State.SIGNED_UP
    mail = last_mail(mail_of(NAMES[1]))
    assert "We are sorry" in mail.body and "Come in spring" in mail.body


def test_closed_an_admin_gives_the_place_and_the_mail_goes_out(
    cast: Cast, full: SignUpSheet
) -> None:
    """The day may be near: a mail alone might not be read."""
    set_sheet(clinic=cast.clinic, values={"is_open": False}, by=cast.admin)
    with pytest.raises(BadInput, match="No place is free"):
        give_place(sign_up=of(NAMES[3]), by=cast.admin)
    withdraw(sign_up=of(NAMES[0]), by=None)
    assert of(NAMES[2]).state == State.WAITING
    give_place(sign_up=of(NAMES[3]), by=cast.admin)
    assert of(NAMES[3]).state == State.SIGNED_UP
    assert subjects(NAMES[3])[-1] == "You have a place now"


def test_opened_again_free_places_are_given(cast: Cast, full: SignUpSheet) -> None:
    set_sheet(clinic=cast.clinic, values={"is_open": False}, by=cast.admin)
    withdraw(sign_up=of(NAMES[0]), by=None)
    set_sheet(clinic=cast.clinic, values={"is_open": True}, by=cast.admin)
    assert of(NAMES[2]).state == State.SIGNED_UP


def test_by_hand_also_when_closed_and_never_twice(cast: Cast, full: SignUpSheet) -> None:
    set_sheet(clinic=cast.clinic, values={"is_open": False}, by=cast.admin)
    told = {
        "details": Details("freestyle", "block", 80.0),
        "language": "en",
        "by": cast.admin,
        "sheet": full,
    }
    row = add_by_hand(name="Esme Quayle", email="", **told)  # type: ignore[arg-type]
    assert (row.state, row.came) == (State.WAITING, "admin")
    with pytest.raises(BadInput, match="signed up already"):
        add_by_hand(name=NAMES[0], email=mail_of(NAMES[0]), **told)  # type: ignore[arg-type]
    asked = add_by_hand(name="Oskar Brandt", email=mail_of("Oskar Brandt"), **told)  # type: ignore[arg-type]
    assert "whether it may film you" in last_mail(asked.email).body


# --- the sheet ------------------------------------------------------------------------------------


def test_opening_needs_published_texts_and_a_day_to_come(cast: Cast) -> None:
    ahead(cast.clinic)
    with pytest.raises(BadInput, match="Publish the consent texts first"):
        set_sheet(clinic=cast.clinic, values={"is_open": True}, by=cast.admin)
    open_sheet(cast)
    Clinic.objects.update(date=timezone.localdate() - dt.timedelta(days=2))
    with pytest.raises(BadInput, match="day of this clinic is over"):
        set_sheet(clinic=cast.clinic, values={"is_open": True}, by=cast.admin)
    Clinic.objects.update(state="closed", closed_at=timezone.now())
    with pytest.raises(BadInput, match="This clinic is closed"):
        set_sheet(clinic=cast.clinic, values={"places": 3}, by=cast.admin)
    assert ConsentText.objects.filter(purpose=FILM).exists()


def test_places_are_proposed_from_the_pool_hour(cast: Cast) -> None:
    """Rotation's own figures: 75 m at 80 s per 100 m are eight minutes for a group of six, so an
    hour has room for seven groups."""
    sheet = open_sheet(cast)
    assert room_in_pool_hour(cast.clinic) is None
    PoolHour.objects.create(clinic=cast.clinic, begins=dt.time(10, 30))
    Clinic.objects.filter(pk=cast.clinic.pk).update(distance_m=75)
    cast.clinic.refresh_from_db()
    cast.clinic.entries.update(pace_s_per_100m=80.0)
    signs_up(sheet, pace=80.0)
    room = room_in_pool_hour(cast.clinic)
    assert room is not None
    assert (room.minutes, room.swimmers, room.otherwise, room.places) == (60, 42, 3, 39)
