"""What people asked about their data, for a club's admins; the certificate of an erasure."""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from typing import Any

from django.contrib import messages
from django.db.models import QuerySet
from django.http import HttpResponse, JsonResponse, QueryDict
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from portal.actions import certificate
from portal.actions.erase import note_for
from portal.actions.requests import NotPossible, answer, named
from portal.csv_out import csv_response
from portal.forms_requests import AnswerForm, FilterForm, NoteForm
from portal.freshness import fresh_sign_in_required
from portal.models import PersonRequest
from portal.pages import page_of
from portal.requests import SignedInRequest
from portal.views.people import club_of
from portal.views.sign_in import see_other

page = require_http_methods(["GET", "HEAD", "POST"])


@require_safe
def requests(request: SignedInRequest, slug: str) -> HttpResponse:
    """Open ones first, by due date. With `?as=csv` as a table to download."""
    club = club_of(request, slug)
    form = FilterForm(request.GET)
    rows = form.narrowed(_managed(request).filter(club=club))
    if request.GET.get("as") == "csv":
        return _as_csv(club.slug, _lines(rows))
    shown = page_of(rows, request.GET)
    context = {"of_club": club, "form": form, "page": shown, "lines": _lines(shown.rows)}
    return render(request, "portal/requests.html", context)


def _sent(request: SignedInRequest) -> QueryDict | None:
    """What was sent with the form, nothing included."""
    return request.POST if request.method == "POST" else None


def _managed(request: SignedInRequest) -> QuerySet[PersonRequest]:
    rows = PersonRequest.objects.managed_by(request.user)
    return rows.select_related("club", "answered_by")


def _lines(rows: Iterable[PersonRequest]) -> list[dict[str, Any]]:
    rows = list(rows)
    words = named(rows)
    return [_line(row, words) for row in rows]


def _line(row: PersonRequest, words: dict[uuid.UUID, str]) -> dict[str, Any]:
    about = words.get(row.subject_id) or _("somebody who was erased")
    late = row.state in PersonRequest.OPEN_STATES and row.due_at <= timezone.now()
    return {"row": row, "about": about, "late": late}


def _as_csv(slug: str, lines: list[dict[str, Any]]) -> HttpResponse:
    header = ("about", "kind", "state", "made_at", "due_at", "words", "answered_at", "answer")
    rows = (
        (
            *(line["about"], line["row"].kind, line["row"].state),
            *(line["row"].made_at.isoformat(), line["row"].due_at.isoformat()),
            line["row"].words,
            line["row"].answered_at.isoformat() if line["row"].answered_at else "",
            line["row"].answer,
        )
        for line in lines
    )
    return csv_response(f"{slug}-requests.csv", header, rows)


@page
def request_answer(request: SignedInRequest, slug: str, pk: uuid.UUID) -> HttpResponse:
    club = club_of(request, slug)
    row = get_object_or_404(_managed(request).filter(club=club), pk=pk)
    form = AnswerForm(_sent(request))
    if request.method == "POST" and form.is_valid():
        try:
            answer(request=row, by=request.user, **form.cleaned_data)
        except NotPossible as reason:
            form.add_error(None, str(reason))
        else:
            messages.success(request, _("Answered. They find it under “My data”."))
            return see_other(reverse("portal:requests", args=[club.slug]))
    context = {"of_club": club, "form": form, **_line(row, named([row]))}
    return render(request, "portal/request.html", context, status=422 if form.errors else 200)


@page
@fresh_sign_in_required
def request_note(request: SignedInRequest, slug: str) -> HttpResponse:
    """A wish that came by letter or word of mouth is noted; from then on it goes its way."""
    club = club_of(request, slug)
    form = NoteForm(_sent(request), club=club)
    if request.method == "POST" and form.is_valid():
        note_for(by=request.user, **form.cleaned_data)
        messages.success(request, _("Noted. It is answered within a month."))
        return see_other(reverse("portal:requests", args=[club.slug]))
    context = {"of_club": club, "form": form}
    return render(request, "portal/request_note.html", context, status=422 if form.errors else 200)


@require_safe
def erased(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """Open to anyone who has its address: the person has no account any more, and it names
    nobody. As a page, or with `?as=json` to keep."""
    done = PersonRequest.objects.filter(
        kind=PersonRequest.Kind.ERASE, state=PersonRequest.State.DONE
    )
    row = get_object_or_404(done.select_related("club"), pk=pk)
    if request.GET.get("as") == "json":
        response = JsonResponse(certificate.as_json(row), json_dumps_params={"indent": 1})
        response["Content-Disposition"] = f'attachment; filename="certificate-{row.pk}.json"'
        return response
    context = {"row": row, **certificate.in_words(row)}
    return render(request, "portal/erased.html", context)
