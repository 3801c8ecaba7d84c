"""The pages of a personal link: open to anyone who has it, for one swimmer, without footage.

The token stands in the first URL only. From there on the session knows which request
was opened, and each request asks again whether the link is still good.
"""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from clinics.actions.consent import ConsentRefused
from clinics.actions.consent_ask import find_request, open_request
from clinics.actions.consent_link import answer_by_link, end_by_link
from clinics.actions.consent_names import names_for, next_clinic
from clinics.actions.consent_questions import Question, open_questions, questions
from clinics.actions.consent_state import standings_now
from clinics.actions.consent_texts import texts_of
from clinics.models import ConsentRequest, Purpose
from clinics.views.consent_forms import AnswerForm, language_now
from portal.views.sign_in import see_other

OPENED = "consent_request"
OPEN_FOR_S = 3600  # on a device that is not signed in


def asked_by_link(request: HttpRequest) -> ConsentRequest | None:
    """The request whose link this browser has opened, while the link is good."""
    opened = request.session.get(OPENED)
    return open_request(opened) if opened else None


@never_cache
@require_safe
def sign_link(request: HttpRequest, token: str) -> HttpResponse:
    """Good or not, it leads to the same clean URL."""
    found = find_request(token)
    request.session.pop(OPENED, None)
    if found is not None:
        request.session[OPENED] = str(found.pk)
        if not request.user.is_authenticated:
            request.session.set_expiry(OPEN_FOR_S)
    return see_other(reverse("clinics:sign"))


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def sign(request: HttpRequest) -> HttpResponse:
    asked = asked_by_link(request)
    if asked is None:
        return _shown(request, "clinics/sign_gone.html", {})
    all_asked = _questions(asked)
    ask_adult = asked.swimmer.adult_attested_at is None
    form = AnswerForm(
        request.POST or None, questions=open_questions(all_asked), ask_adult=ask_adult
    )
    if request.method == "POST" and form.is_valid():
        try:
            answer_by_link(request=asked, answers=form.answers())
        except ConsentRefused as refusal:
            form.add_error(None, str(refusal))
        else:
            messages.success(request, _("Your answer is kept. Thank you."))
            return see_other(reverse("clinics:sign"))
    agreed = [q for q in all_asked if q.standing and q.standing.in_force]
    told = {"asked": asked, "form": form, "agreed": agreed, "club": asked.swimmer.club}
    return _shown(request, "clinics/sign.html", told, status=422 if form.errors else 200)


def _questions(asked: ConsentRequest) -> list[Question]:
    club = asked.swimmer.club
    clinic = asked.clinic or next_clinic(asked.swimmer)
    texts, names = texts_of(club), names_for(club, clinic)
    told = standings_now(asked.swimmer, texts, names)
    return questions(texts, names, language_now(), told)


@never_cache
@require_POST
def sign_end(request: HttpRequest) -> HttpResponse:
    """One click, as giving it was; nothing more is asked."""
    asked, purpose = asked_by_link(request), request.POST.get("purpose", "")
    if asked is not None and purpose in Purpose.values:
        end_by_link(request=asked, purpose=purpose)
        messages.success(request, _("Withdrawn. It holds from now on."))
    return see_other(reverse("clinics:sign"))


def _shown(
    request: HttpRequest, template: str, told: dict[str, Any], status: int = 200
) -> HttpResponse:
    response = render(request, template, told, status=status)
    response["X-Robots-Tag"] = "noindex, nofollow"
    return response
