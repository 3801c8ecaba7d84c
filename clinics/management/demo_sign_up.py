"""The demo's sign-ups: who swims signed up, told the coaches something, and some wait."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from clinics.actions.consent_answers import Answers
from clinics.actions.consent_texts import texts_of
from clinics.actions.sign_up_answers import as_kept
from clinics.actions.sign_up_notes import Notes, write_notes
from clinics.actions.sign_up_sheet import new_token
from clinics.actions.sign_up_state import State, is_over
from clinics.compute.keeping import begin_of
from clinics.management.demo.cast import mail_of
from clinics.models import Clinic, Entry, SignUp, SignUpSheet
from clinics.privacy import FILM_AND_REVIEW

BEGAN = dt.timedelta(days=26)  # before the day; then one after the other
EVERY = dt.timedelta(hours=7)
WORDS = "Meet on the deck a quarter of an hour before. Bring two caps of different colours."
# By place in the running order: what coaches should look at, and injuries.
TOLD = (
    Notes("Do I lift my head to breathe?", "Left shoulder, since spring: no butterfly, please."),
    Notes("My start, and how long I stay under."),
    Notes("The turn. I am always late with the second arm.", "Knee: I push off with one leg."),
    Notes("", "Asthma, my spray is in the bag at the deck."),
    Notes("Whether I roll at all."),
)


@dataclass(frozen=True)
class _Late:
    name: str
    stroke: str
    start: str
    pace_s_per_100m: float
    state: str
    agrees: bool = True


LATE = (
    _Late("Marit Solheim", "freestyle", "edge", 104.0, State.SIGNED_UP),
    _Late("Enzo Farrugia", "breaststroke", "block", 112.0, State.WITHDRAWN),
    _Late("Aoife Brannock", "backstroke", "water", 98.5, State.WAITING),
    _Late("Teun Verhagen", "freestyle", "block", 91.0, State.WAITING, agrees=False),
)


def sign_up_in_demo(clinic: Clinic) -> None:
    """Once: what signed up already stays. Before its day the sheet is open, after it closed."""
    if SignUpSheet.objects.filter(clinic=clinic).exists():
        return
    entries = list(clinic.entries.select_related("swimmer").order_by("order"))
    sheet = SignUpSheet.objects.create(
        clinic=clinic,
        token=new_token(),
        is_open=not is_over(clinic) and bool(texts_of(clinic.club).purposes()),
        places=len(entries) + 1,
        words=WORDS,
    )
    at = begin_of(clinic.date) - BEGAN
    for step, entry in enumerate(entries):
        _entered(sheet, entry, at + step * EVERY, TOLD[step] if step < len(TOLD) else Notes())
    for step, late in enumerate(LATE, start=len(entries)):
        _late(sheet, late, at + step * EVERY)


def _entered(sheet: SignUpSheet, entry: Entry, at: dt.datetime, notes: Notes) -> None:
    swimmer = entry.swimmer
    row = SignUp.objects.create(
        sheet=sheet,
        user=swimmer.user,
        swimmer=swimmer,
        entry=entry,
        name=swimmer.name,
        email=swimmer.email.lower(),
        adult_attested_at=at,
        stroke=entry.stroke,
        start=entry.start,
        pace_s_per_100m=entry.pace_s_per_100m,
        state=State.TAKEN_IN,
        came=SignUp.Came.LINK,
        made_at=at,
        confirmed_at=at,
    )
    write_notes(sign_up=row, notes=notes)


def _late(sheet: SignUpSheet, late: _Late, at: dt.datetime) -> None:
    answers = Answers({FILM_AND_REVIEW: late.agrees}, language="en", adult=True)
    asked = late.state != State.WITHDRAWN and texts_of(sheet.clinic.club).version(FILM_AND_REVIEW)
    SignUp.objects.create(
        sheet=sheet,
        name=late.name,
        email=mail_of(late.name),
        adult_attested_at=at,
        stroke=late.stroke,
        start=late.start,
        pace_s_per_100m=late.pace_s_per_100m,
        state=late.state,
        came=SignUp.Came.LINK,
        answers=as_kept(sheet.clinic, answers, at) if asked else {},
        made_at=at,
        confirmed_at=at,
    )
