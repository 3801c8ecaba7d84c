"""What the page of one's own sign-up shows."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.http import HttpRequest

from clinics.actions.consent_names import names_for
from clinics.actions.consent_questions import Question, questions
from clinics.actions.consent_state import standings_now
from clinics.actions.consent_texts import texts_of
from clinics.actions.sign_up_answers import told_answers
from clinics.actions.sign_up_notes import (
    EntryNotes,
    has_injuries,
    look_at_of,
    sign_up_notes_for,
)
from clinics.actions.sign_up_state import (
    COUNT,
    State,
    accepts,
    is_over,
    place_on_waiting_list,
)
from clinics.compute.pace import as_time
from clinics.models import SignUp
from clinics.views.consent_forms import language_now
from clinics.views.sign_up_forms import ChangeForm, make_pass

if TYPE_CHECKING:
    from portal.models import User


@dataclass(frozen=True)
class Agreed:
    """Something that the person agrees to, with a button to end it."""

    purpose: str
    sentence: str
    at: dt.datetime


def _asked(row: SignUp) -> list[Question]:
    """What the club asks today, with how the swimmer stands if there is one."""
    clinic = row.sheet.clinic
    texts, names = texts_of(clinic.club), names_for(clinic.club, clinic)
    told = standings_now(row.swimmer, texts, names) if row.swimmer else None
    return questions(texts, names, language_now(), told)


def agreed_of(row: SignUp, asked: list[Question]) -> list[Agreed]:
    """In the running order: what is in force. Before: what was answered on the form."""
    if row.entry_id and row.swimmer_id:
        return [
            Agreed(q.purpose, q.sentence, q.standing.consent.given_at)
            for q in asked
            if q.standing and q.standing.in_force and q.standing.consent
        ]
    return [Agreed(one.purpose, one.sentence, one.at) for one in told_answers(row) if one.agrees]


def _still_open(row: SignUp, asked: list[Question]) -> list[Question]:
    agreed = {one.purpose for one in agreed_of(row, asked)}
    in_force = {q.purpose for q in asked if q.standing and q.standing.in_force and not q.replaces}
    return [q for q in asked if q.purpose not in agreed | in_force]


def change_form(
    request: HttpRequest, row: SignUp, user: User | None, asked: list[Question] | None = None
) -> ChangeForm | None:
    """None: nothing can be changed any more."""
    if row.state not in COUNT or not accepts(row.sheet):
        return None
    shows = user is not None
    notes = sign_up_notes_for(user, row) or EntryNotes() if user else EntryNotes(look_at_of(row))
    return ChangeForm(
        request.POST or None,
        questions=_still_open(row, asked if asked is not None else _asked(row)),
        plans=row.state != State.TAKEN_IN,
        shows_injuries=shows,
        has_injuries=has_injuries(row),
        initial={
            "stroke": row.stroke,
            "start": row.start,
            "time": as_time(row.pace_s_per_100m),
            "look_at": notes.look_at,
            "injuries": notes.injuries,
        },
    )


def told_of(
    request: HttpRequest,
    row: SignUp,
    user: User | None,
    *,
    may_change: bool,
    form: ChangeForm | None,
) -> dict[str, Any]:
    asked = _asked(row)
    form = form or change_form(request, row, user, asked)
    return {
        "row": row,
        "clinic": row.sheet.clinic,
        "club": row.sheet.clinic.club,
        "sheet": row.sheet,
        "place": place_on_waiting_list(row),
        "pace": as_time(row.pace_s_per_100m),
        "answers": told_answers(row),
        "agreed": agreed_of(row, asked),
        "look_at": look_at_of(row),
        "has_injuries": has_injuries(row),
        "over": is_over(row.sheet.clinic),
        "accepts": accepts(row.sheet),
        "form": form if may_change else None,
        "may_change_after_signing_in": form is not None and not may_change,
        "pass": make_pass(request) if user else "",
        "own": user,
    }
