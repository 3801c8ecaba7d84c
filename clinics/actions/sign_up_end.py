"""A sign-up that is taken back or deleted by its person; and after a restore, again."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from django.db import transaction

from clinics.actions import sign_up_mail as mail
from clinics.actions.sign_up import mine
from clinics.actions.sign_up_answers import end_answer_again
from clinics.actions.sign_up_notes import forget_notes
from clinics.actions.sign_up_places import fill_places
from clinics.actions.sign_up_state import COUNT, State, is_over, locked
from clinics.models import SignUp
from portal.actions.audit import record
from portal.actions.ledger import note_deleted, note_withdrawn
from portal.ledger_line import Line
from portal.registry import LedgerReplay

if TYPE_CHECKING:
    from portal.models import User

WITHDREW = "sign-up"  # in the deletion ledger: taken back as a whole
AGAIN_ORDER = 200


@transaction.atomic
def withdraw(*, sign_up: SignUp, by: User | None) -> SignUp:
    """Also when the sheet has closed. What was for coaches goes at once, the next one moves up.
    Somebody in the running order stays in it until an admin takes them out: a person plans."""
    sheet = locked(sign_up.sheet)
    row = mine(sheet, sign_up)
    if row.state not in COUNT or is_over(sheet.clinic):
        return row
    entry = row.entry
    row.state, row.answers = State.WITHDRAWN, {}
    row.save(update_fields=["state", "answers"])
    forget_notes(row)
    note_withdrawn(SignUp._meta.label, row.pk, WITHDREW)
    mail.tell_withdrawn(row)
    if entry is not None:
        mail.tell_admins_of_withdrawal(row, number=entry.number)
    record(action="sign-up.withdraw", by=by, subject=row, club=sheet.clinic.club)
    fill_places(sheet)
    return row


@transaction.atomic
def delete(*, sign_up: SignUp, by: User | None) -> None:
    """All of it, by the person. In the running order it is taken back first; what else the club
    has of a swimmer is erased from “My data”."""
    sheet = locked(sign_up.sheet)
    row = sheet.sign_ups.select_for_update(of=("self",)).filter(pk=sign_up.pk).first()
    if row is None or row.state == State.TAKEN_IN:
        return
    note_deleted(SignUp._meta.label, row.pk)
    record(action="sign-up.delete", by=by, subject=SignUp(pk=row.pk), club=sheet.clinic.club)
    row.delete()
    fill_places(sheet)


def _withdraw_again(pk: str, when: dt.datetime) -> bool:
    rows = SignUp.objects.filter(pk=pk, state__in=COUNT, confirmed_at__lte=when)
    row = rows.first()
    if row is None:
        return False
    row.state, row.answers = State.WITHDRAWN, {}
    row.save(update_fields=["state", "answers"])
    row.notes.all().delete()
    return True


def end_again(line: Line) -> bool:
    """What was taken back since the backup is so again; said anew since, it stays."""
    if line.purpose == WITHDREW:
        return _withdraw_again(line.id, line.when)
    return end_answer_again(line.id, line.purpose, line.when)


REPLAY = LedgerReplay(f"withdrawn {SignUp._meta.label}", AGAIN_ORDER, end_again)
