"""What an admin does with sign-ups beside taking them in: by hand, declined, taken out again."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from clinics.actions import sign_up_mail as mail
from clinics.actions.errors import BadInput
from clinics.actions.errors import say as _
from clinics.actions.keeping_rules import clinic_changed
from clinics.actions.roster import has_history
from clinics.actions.sign_up import Details, mine, same_person, tell
from clinics.actions.sign_up_notes import forget_notes
from clinics.actions.sign_up_places import fill_places
from clinics.actions.sign_up_state import COUNT, State, free_places, is_over, locked
from clinics.models import Clinic, Entry, SignUp, SignUpSheet
from portal.actions.audit import record

if TYPE_CHECKING:
    from portal.models import User


def _refuse_closed(clinic: Clinic) -> None:
    if clinic.state == Clinic.State.CLOSED:
        raise BadInput([("", _("This clinic is closed; its sign-ups stay as they are."))])


@transaction.atomic
def add_by_hand(
    *, sheet: SignUpSheet, name: str, email: str, details: Details, language: str, by: User
) -> SignUp:
    """Somebody who asked in person, also when the sheet is closed. The admin vouches for address
    and age, as with a roster; about consent the swimmer is asked by the mail, or otherwise."""
    sheet = locked(sheet)
    if is_over(sheet.clinic):
        raise BadInput([("", _("The day of this clinic is over; nobody signs up any more."))])
    now = timezone.now()
    row = SignUp(
        sheet=sheet,
        name=name,
        email=email.lower(),
        adult_attested_at=now,
        stroke=details.stroke,
        start=details.start,
        pace_s_per_100m=details.pace_s_per_100m,
        language=language,
        came=SignUp.Came.ADMIN,
        state=State.SIGNED_UP if free_places(sheet) else State.WAITING,
        confirmed_at=now,
    )
    if same_person(sheet, row) is not None:
        raise BadInput([(name, _("is signed up already, with this address."))])
    row.save()
    tell(row)
    record(action="sign-up.by-hand", by=by, subject=row, club=sheet.clinic.club)
    return row


@transaction.atomic
def decline(*, sign_up: SignUp, words: str, by: User) -> SignUp:
    """Friendly, by mail, with the club's words if there are any; the place goes to the next."""
    sheet = locked(sign_up.sheet)
    _refuse_closed(sheet.clinic)
    row = mine(sheet, sign_up)
    if row.state not in (State.SIGNED_UP, State.WAITING):
        return row
    row.state, row.answers = State.DECLINED, {}
    row.save(update_fields=["state", "answers"])
    forget_notes(row)
    mail.tell_declined(row, words_of_club=words)
    record(action="sign-up.decline", by=by, subject=row, club=sheet.clinic.club)
    fill_places(sheet)
    return row


@transaction.atomic
def take_out(*, sign_up: SignUp, by: User) -> SignUp:
    """Out of the running order again; who did not withdraw keeps the place. BadInput: the entry
    has a history, so it stays, as a no-show if need be."""
    sheet = locked(sign_up.sheet)
    _refuse_closed(sheet.clinic)
    row = mine(sheet, sign_up)
    entry = row.entry
    if entry is None:
        return row
    if has_history([entry]):
        told = _("stands in the start log. Log a no-show instead, or leave it.")
        raise BadInput([(row.name, told)])
    if row.state == State.TAKEN_IN:
        row.state = State.SIGNED_UP
    row.entry = None
    row.save(update_fields=["state", "entry"])
    Entry.objects.filter(pk=entry.pk).delete()
    told_ids = {"entry": str(entry.pk)}
    record(action="sign-up.take-out", by=by, subject=row, club=sheet.clinic.club, detail=told_ids)
    clinic_changed(clinic=sheet.clinic, by=by)
    return row


@transaction.atomic
def write_again(*, sign_up: SignUp, by: User) -> bool:
    """The mail with the personal link once more. False: there is no address, or no reason."""
    row = mine(locked(sign_up.sheet), sign_up)
    if not row.email or row.state not in COUNT:
        return False
    if row.state == State.TAKEN_IN and row.entry is not None:
        mail.tell_taken_in(row, number=row.entry.number)
    else:
        tell(row)
    record(action="sign-up.write-again", by=by, subject=row, club=row.sheet.clinic.club)
    return True
