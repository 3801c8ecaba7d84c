"""Giving places: whoever waits longest moves up, and nobody silently."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import transaction

from clinics.actions.errors import BadInput
from clinics.actions.errors import say as _
from clinics.actions.sign_up_mail import tell_moved_up
from clinics.actions.sign_up_state import State, accepts, free_places, is_over, locked
from portal.actions.audit import record

if TYPE_CHECKING:
    from clinics.models import SignUp, SignUpSheet
    from portal.models import User


def fill_places(sheet: SignUpSheet) -> list[SignUp]:
    """Whoever waits longest gets what is free, and a mail, while the sheet takes sign-ups. Once
    it has closed an admin gives places: the day may be too near for a mail alone. The caller
    holds the sheet's row."""
    if not accepts(sheet):
        return []
    waiting = sheet.sign_ups.filter(state=State.WAITING).order_by("confirmed_at", "pk")
    moved = list(waiting[: free_places(sheet)])
    for sign_up in moved:
        _move_up(sheet, sign_up, None)
    return moved


def _move_up(sheet: SignUpSheet, sign_up: SignUp, by: User | None) -> None:
    sign_up.state = State.SIGNED_UP
    sign_up.save(update_fields=["state"])
    sign_up.sheet = sheet
    tell_moved_up(sign_up)
    record(action="sign-up.move-up", by=by, subject=sign_up, club=sheet.clinic.club)


@transaction.atomic
def give_place(*, sign_up: SignUp, by: User) -> SignUp:
    """An admin gives a free place to somebody who waits, whoever waits before them."""
    sheet = locked(sign_up.sheet)
    row: SignUp = sheet.sign_ups.select_for_update(of=("self",)).get(pk=sign_up.pk)
    if is_over(sheet.clinic):
        raise BadInput([("", _("The day of this clinic is over; nobody signs up any more."))])
    if row.state != State.WAITING:
        return row
    if not free_places(sheet):
        raise BadInput([("", _("No place is free. Add a place first."))])
    _move_up(sheet, row, by)
    return row
