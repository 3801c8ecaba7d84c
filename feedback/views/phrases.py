"""My phrases: words that a coach uses again and again."""

from __future__ import annotations

import uuid
from typing import Any

from django.core.exceptions import PermissionDenied
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from feedback.actions import phrases
from feedback.forms import PhraseForm
from feedback.models import Phrase
from portal.models import Membership
from portal.requests import SignedInRequest

NOT_ACCEPTABLE = 422


def _coaching(request: SignedInRequest) -> None:
    current = Membership.objects.current()
    if not current.filter(user=request.user, role=Membership.Role.COACH).exists():
        raise PermissionDenied


def _mine(request: SignedInRequest, pk: uuid.UUID) -> Phrase:
    """Hidden and absent alike: 404."""
    return get_object_or_404(Phrase.objects.filter(coach=request.user), pk=pk)


def _page(request: SignedInRequest, form: PhraseForm, status: int = 200) -> HttpResponse:
    mine = Phrase.objects.filter(coach=request.user)
    context: dict[str, Any] = {"phrases": mine, "form": form}
    return render(request, "feedback/phrases.html", context, status=status)


@require_http_methods(["GET", "HEAD", "POST"])
def my_phrases(request: SignedInRequest) -> HttpResponse:
    _coaching(request)
    if request.method != "POST":
        return _page(request, PhraseForm())
    form = PhraseForm(request.POST)
    if not form.is_valid():
        return _page(request, form, NOT_ACCEPTABLE)
    phrases.keep_phrase(by=request.user, **form.cleaned_data)
    return redirect("feedback:phrases")


@require_http_methods(["GET", "HEAD", "POST"])
def phrase(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    mine = _mine(request, pk)
    if request.method != "POST":
        now = PhraseForm(initial={"text": mine.text, "phase": mine.phase})
        return render(request, "feedback/phrase.html", {"phrase": mine, "form": now})
    form = PhraseForm(request.POST)
    if form.is_valid():
        try:
            phrases.change_phrase(phrase=mine, by=request.user, **form.cleaned_data)
            return redirect("feedback:phrases")
        except phrases.KeptAlready:
            form.add_error("text", _("You have this phrase already."))
    context = {"phrase": mine, "form": form}
    return render(request, "feedback/phrase.html", context, status=NOT_ACCEPTABLE)


@require_POST
def remove(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    phrases.remove_phrase(phrase=_mine(request, pk), by=request.user)
    return redirect("feedback:phrases")
