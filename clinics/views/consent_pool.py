"""A phone of the crew, handed to a swimmer who has not answered yet. Works and opens without
network: the texts stand on the page, and answers wait on the phone until they are sent."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from clinics.actions.consent import ConsentRefused
from clinics.actions.consent_board import Line, board_of
from clinics.actions.consent_names import names_for
from clinics.actions.consent_pool import answer_at_pool, make_pass, pass_is_good
from clinics.actions.consent_questions import Question, open_questions, questions
from clinics.actions.consent_state import State
from clinics.actions.consent_texts import texts_of
from clinics.models import Clinic
from clinics.views.consent_forms import AnswerForm, language_now
from clinics.views.who import me
from portal.freshness import fresh_sign_in_required


class PoolForm(AnswerForm):
    """As the swimmer's own form, with what the phone adds."""

    number = forms.IntegerField(min_value=1, widget=forms.HiddenInput)
    client_id = forms.RegexField(r"^[A-Za-z0-9-]{8,64}$", widget=forms.HiddenInput)
    instant = forms.CharField(required=False, max_length=40, widget=forms.HiddenInput)

    def clean_instant(self) -> dt.datetime:
        try:
            instant = dt.datetime.fromisoformat(self.cleaned_data["instant"])
        except ValueError:
            return timezone.now()  # without a script: the moment in which it arrives
        return instant if instant.tzinfo else timezone.now()


@require_http_methods(["GET", "HEAD", "POST"])
def consent_pool(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    clinics = Clinic.objects.worked_by(me(request)).select_related("club")
    clinic = get_object_or_404(clinics, pk=pk)
    if request.method == "POST":
        return _take(request, clinic)
    return _page(request, clinic)


@fresh_sign_in_required
def _page(request: HttpRequest, clinic: Clinic) -> HttpResponse:
    """Making the phone ready asks who it is; what it sends later carries the pass."""
    board = board_of(clinic)
    asked = questions(board.texts, board.names, language_now())
    line = _chosen(board.lines, request.GET.get("number", ""))
    of_line = [q for q in asked if q.purpose in _open(line, asked)] if line else asked
    form = PoolForm(None, questions=of_line, ask_adult=True)
    form.initial["number"] = line.entry.number if line else None
    form.initial["client_id"] = str(uuid.uuid4())
    context = {
        "clinic": clinic,
        "places": [],  # handed to swimmers: no way into the site by a wet thumb
        "form": form,
        "chosen": line,
        "waiting": [one for one in board.lines if one.film.state != State.AGREES],
        "agreed": [one for one in board.lines if one.film.state == State.AGREES],
        "pass": make_pass(clinic=clinic, by=me(request)),
        "for_script": [_told(one, asked) for one in board.lines],
        "now": timezone.now(),
    }
    with timezone.override(clinic.zone):
        return render(request, "clinics/consent_pool.html", context)


def pool_shell(request: HttpRequest, clinic: Clinic) -> HttpResponse:
    """The page with its questions and with nobody in it: no list, no token, no pass. A phone keeps
    it (views/offline.py), and fills in the list that it keeps beside it."""
    asked = questions(texts_of(clinic.club), names_for(clinic.club, clinic), language_now())
    form = PoolForm(None, questions=asked, ask_adult=True)
    context = {"clinic": clinic, "shell": True, "places": [], "form": form, "waiting": []}
    return render(request, "clinics/consent_pool.html", context)


def _chosen(lines: list[Line], number: str) -> Line | None:
    return next((line for line in lines if str(line.entry.number) == number), None)


def _open(line: Line, asked: list[Question]) -> list[str]:
    """What this swimmer has to answer: never what they agree to already."""
    return [
        q.purpose
        for q in asked
        if q.purpose not in line.by_purpose or line.by_purpose[q.purpose].state != State.AGREES
    ]


def _told(line: Line, asked: list[Question]) -> dict[str, Any]:
    """What the page's script needs of one swimmer; nothing that the list does not show."""
    entry = line.entry
    return {
        "number": entry.number,
        "name": entry.swimmer.name,
        "asks": _open(line, asked),
    }


def _take(request: HttpRequest, clinic: Clinic) -> HttpResponse:
    if not pass_is_good(request.POST.get("pass", ""), clinic=clinic, by=me(request)):
        return _answer(request, clinic, [_("This phone has to be made ready again.")], status=403)
    texts, names = texts_of(clinic.club), names_for(clinic.club, clinic)
    asked = open_questions(questions(texts, names, language_now()))
    there = [q for q in asked if f"version-{q.purpose}" in request.POST]
    form = PoolForm(request.POST, questions=there, ask_adult=True)
    entries = clinic.entries.select_related("swimmer__club", "clinic")
    entry = None
    if form.is_valid():
        entry = entries.filter(number=form.cleaned_data["number"]).first()
    if entry is None or not there:
        told = [str(error) for errors in form.errors.values() for error in errors]
        return _answer(request, clinic, told or [_("This number is not in the running order.")])
    said = form.cleaned_data
    try:
        answer_at_pool(
            entry=entry,
            answers=form.answers(),
            client_id=said["client_id"],
            instant=said["instant"],
            by=me(request),
        )
    except ConsentRefused as refusal:
        return _answer(request, clinic, [str(refusal)])
    return _answer(request, clinic, [], said["client_id"])


def _answer(
    request: HttpRequest, clinic: Clinic, errors: list[str], kept: str = "", status: int = 422
) -> HttpResponse:
    if "application/json" in request.headers.get("Accept", ""):
        if errors:
            return JsonResponse({"errors": errors}, status=status)
        return JsonResponse({"client_id": kept, "kept": True}, status=201)
    for error in errors:
        messages.error(request, error)
    if not errors:
        messages.success(request, _("The answer is kept. Hand the phone back."))
    return redirect("clinics:consent-pool", pk=clinic.pk)
