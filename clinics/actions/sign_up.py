"""Signing up, confirming, changing: what the person does (taking back is sign_up_end.py).

Whoever is signed in has proved the address. Whoever is not types one, and anybody may type
anybody's: so that sign-up only counts once it is confirmed from the mail that goes there, and
until then it takes no place, is shown to nobody and touches nobody's record. Consent and being
an adult are said at that moment, too.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from clinics.actions import sign_up_mail as mail
from clinics.actions.errors import BadInput
from clinics.actions.errors import say as _
from clinics.actions.sign_up_answers import agrees_to_film, as_kept, put_in_force, said_again
from clinics.actions.sign_up_notes import Notes, write_notes
from clinics.actions.sign_up_state import (
    COUNT,
    State,
    accepts,
    free_places,
    locked,
    place_on_waiting_list,
)
from clinics.models import SignUp, SignUpSheet
from portal.actions.audit import record

if TYPE_CHECKING:
    from clinics.actions.consent_answers import Answers
    from clinics.models import Swimmer
    from portal.models import User


@dataclass(frozen=True)
class Details:
    stroke: str
    start: str
    pace_s_per_100m: float


def _closed() -> BadInput:
    return BadInput([("", _("Signing up is closed. Write to the club if something changed."))])


# --- signing up ----------------------------------------------------------------------------------


@transaction.atomic
def sign_up(
    *,
    sheet: SignUpSheet,
    name: str,
    email: str,
    details: Details,
    notes: Notes,
    answers: Answers,
    by: User | None,
    swimmer: Swimmer | None = None,
    client_id: str = "",
) -> SignUp:
    """Raises BadInput when the sheet is closed, ConsentRefused for a text that is none. `by` is
    who is signed in, `swimmer` one of theirs at this club: it counts at once. Else a mail goes
    out, the same one whoever's address it is. Sent twice it is one."""
    sheet = locked(sheet)
    if not accepts(sheet):
        raise _closed()
    sent = sheet.sign_ups.filter(client_id=client_id).first() if client_id else None
    if sent is not None:
        return sent
    now = timezone.now()
    row = SignUp.objects.create(
        sheet=sheet,
        user=by,
        swimmer=swimmer,
        name=name,
        email=email.lower(),
        adult_attested_at=now,
        stroke=details.stroke,
        start=details.start,
        pace_s_per_100m=details.pace_s_per_100m,
        language=answers.language,
        came=SignUp.Came.ACCOUNT if by else SignUp.Came.LINK,
        answers=as_kept(sheet.clinic, answers, now),
        client_id=client_id,
        made_at=now,
    )
    write_notes(sign_up=row, notes=notes)
    if by is not None:
        return _count(sheet, row)
    mail.ask_to_confirm(row)
    return row


@transaction.atomic
def confirm(*, sign_up: SignUp) -> SignUp:
    """From the mail: whoever reads the address says that it was they. Twice is once. Raises
    BadInput when the sheet has closed meanwhile."""
    sheet = locked(sign_up.sheet)
    row = sheet.sign_ups.select_for_update(of=("self",)).filter(pk=sign_up.pk).first()
    if row is None:
        return sign_up  # deleted in this very moment, in another browser
    if row.state != State.TO_CONFIRM:
        return row
    if not accepts(sheet):
        raise _closed()
    return _count(sheet, row)


def _count(sheet: SignUpSheet, row: SignUp) -> SignUp:
    """It counts from now: a place, or one on the waiting list. Somebody who has one keeps it,
    and what they say now takes the place of what they said."""
    now = timezone.now()
    row.sheet = sheet
    row.answers = said_again(row.answers, now)
    before = same_person(sheet, row)
    if before is not None:
        return _say_anew(before, row)
    row.adult_attested_at = row.confirmed_at = now
    row.state = State.SIGNED_UP if free_places(sheet) else State.WAITING
    row.save()
    tell(row)
    told = {"state": row.state, "came": row.came}
    record(action="sign-up.count", by=row.user, subject=row, club=sheet.clinic.club, detail=told)
    return row


def same_person(sheet: SignUpSheet, row: SignUp) -> SignUp | None:
    """The same swimmer, or the same name by the same address: couples share one."""
    others = sheet.sign_ups.filter(state__in=COUNT).exclude(pk=row.pk)
    for other in others.select_related("swimmer__club", "user"):
        same_swimmer = row.swimmer_id is not None and row.swimmer_id == other.swimmer_id
        same_name = other.name.casefold() == row.name.casefold() and other.email == row.email
        if same_swimmer or same_name:
            other.sheet = sheet
            return other
    return None


def _say_anew(before: SignUp, row: SignUp) -> SignUp:
    """In the running order already, only what is said to coaches and about consent changes."""
    if before.state != State.TAKEN_IN:
        before.stroke, before.start = row.stroke, row.start
        before.pace_s_per_100m = row.pace_s_per_100m
    before.user = before.user or row.user
    before.answers = before.answers | row.answers
    before.save()
    for note in row.notes.all():
        before.notes.filter(kind=note.kind).delete()
        note.sign_up = before
        note.save(update_fields=["sign_up"])
    row.delete()
    if before.state == State.TAKEN_IN:
        put_in_force(before)
    tell(before)
    record(action="sign-up.change", by=row.user, subject=before, club=before.sheet.clinic.club)
    return before


def tell(row: SignUp) -> None:
    films = agrees_to_film(row)
    if row.state == State.WAITING:
        mail.tell_waiting(row, place=place_on_waiting_list(row), films=films)
    elif row.state == State.SIGNED_UP:
        mail.tell_signed_up(row, films=films)


# --- afterwards ----------------------------------------------------------------------------------


def mine(sheet: SignUpSheet, sign_up: SignUp) -> SignUp:
    rows = sheet.sign_ups.select_for_update(of=("self",)).select_related("swimmer__club", "entry")
    row: SignUp = rows.get(pk=sign_up.pk)
    row.sheet = sheet
    return row


@transaction.atomic
def change(
    *,
    sign_up: SignUp,
    details: Details | None,
    notes: Notes,
    answers: Answers,
    by: User | None,
) -> SignUp:
    """Until the sheet closes. In the running order already, `details` stay as they are: a person
    plans with them. What was not answered anew stays as it was said."""
    sheet = locked(sign_up.sheet)
    row = mine(sheet, sign_up)
    if not accepts(sheet) or row.state not in COUNT:
        raise _closed()
    if details is not None and row.state != State.TAKEN_IN:
        row.stroke, row.start = details.stroke, details.start
        row.pace_s_per_100m = details.pace_s_per_100m
    new = as_kept(sheet.clinic, answers, timezone.now())
    row.answers = row.answers | new
    row.save()
    write_notes(sign_up=row, notes=notes)
    if row.state == State.TAKEN_IN and new:
        put_in_force(row, by=by)
    record(action="sign-up.change", by=by, subject=row, club=sheet.clinic.club)
    return row
