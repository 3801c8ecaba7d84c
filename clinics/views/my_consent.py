"""My consent: each purpose a sentence with a switch. Giving asks for a fresh sign-in, as all
that gives something away does; withdrawing never does, and is one click."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from clinics.actions.consent import ConsentRefused, How, end_consent
from clinics.actions.consent_answers import Answers, take_answers
from clinics.actions.consent_names import names_for, next_clinic
from clinics.actions.consent_questions import Question, questions
from clinics.actions.consent_state import Standing, standings, with_consents
from clinics.actions.consent_texts import texts_by_club
from clinics.models import Consent, Purpose, Swimmer
from clinics.views.consent_forms import LANGUAGES, language_now
from clinics.views.consent_told import what_now
from clinics.views.who import me
from portal.freshness import fresh_sign_in_required
from portal.views.sign_in import see_other


@dataclass(frozen=True)
class Choice:
    """One switch. `question` is None where the club has no text (any more, or yet)."""

    standing: Standing
    question: Question | None
    now: Any
    said: list[Consent]  # newest first


@dataclass(frozen=True)
class Mine:
    """What one of the user's swimmers agrees to. Most people are one."""

    swimmer: Swimmer
    choices: list[Choice]


def _mine(swimmer: Swimmer, texts: Any) -> Mine:
    names = names_for(swimmer.club, next_clinic(swimmer))
    told = standings(swimmer, texts, names)
    asked = {q.purpose: q for q in questions(texts, names, language_now(), told)}
    said = [*swimmer.consents.all()][::-1]
    choices = [
        Choice(
            standing,
            asked.get(purpose),
            what_now(purpose, standing.in_force),
            [consent for consent in said if consent.purpose == purpose],
        )
        for purpose, standing in told.items()
    ]
    return Mine(swimmer, choices)


@require_safe
def my_consent(request: HttpRequest) -> HttpResponse:
    swimmers = list(me(request).swimmers.select_related("club").prefetch_related(with_consents()))
    texts = texts_by_club(swimmer.club for swimmer in swimmers)
    mine = [_mine(swimmer, texts[swimmer.club_id]) for swimmer in swimmers]
    return render(request, "clinics/my_consent.html", {"mine": mine, "many": len(mine) > 1})


def _of_mine(request: HttpRequest, pk: uuid.UUID, purpose: str) -> Swimmer:
    if purpose not in Purpose.values:
        raise Http404
    return get_object_or_404(me(request).swimmers.select_related("club"), pk=pk)


def _back(pk: uuid.UUID, purpose: str) -> HttpResponse:
    return see_other(f"{reverse('clinics:my-consent')}#{purpose}-{pk}")


@fresh_sign_in_required
@require_POST
def my_consent_give(request: HttpRequest, pk: uuid.UUID, purpose: str) -> HttpResponse:
    swimmer = _of_mine(request, pk, purpose)
    said, version = request.POST, request.POST.get("version", "")
    answers = Answers(
        choices={purpose: True},
        versions={purpose: int(version)} if version.isdecimal() else None,
        language=said["language"] if said.get("language") in LANGUAGES else language_now(),
        adult="adult" in said,
    )
    how = How(method=Consent.Method.ACCOUNT, by=me(request))
    try:
        take_answers(swimmer=swimmer, answers=answers, how=how)
    except ConsentRefused as refusal:
        messages.error(request, str(refusal))
    else:
        messages.success(request, _("You agree. A receipt is here for you."))
    return _back(pk, purpose)


@require_POST
def my_consent_end(request: HttpRequest, pk: uuid.UUID, purpose: str) -> HttpResponse:
    swimmer = _of_mine(request, pk, purpose)
    if end_consent(swimmer=swimmer, purpose=purpose, by=me(request)) is not None:
        messages.success(request, _("Withdrawn. It holds from now on."))
    return _back(pk, purpose)
