"""Holding something from deletion, and from sight. For admins; no footage here."""

from __future__ import annotations

import uuid
from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import NoReverseMatch
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from clinics.actions import holds as acts
from clinics.actions.holds import OFFERED, HoldRefused, holds_of
from clinics.models import Clinic, Swimmer
from clinics.views.club_admin import club_run_by
from clinics.views.keeping_forms import HoldForm
from clinics.views.who import me
from portal.freshness import fresh_sign_in_required
from portal.models import Club


@require_safe
def holds(request: HttpRequest, slug: str) -> HttpResponse:
    club = club_run_by(request, slug)
    if "what" in request.GET:
        return _to_hold(club, request.GET["what"])
    rows = list(holds_of(club))
    named = acts.named(rows)
    gone = _("something that is gone")
    lines = [(row, named.get(row.subject_id, gone)) for row in rows]
    context = {
        "of_club": club,
        "held": [line for line in lines if line[0].ended_at is None],
        "ended": [line for line in lines if line[0].ended_at is not None],
        "today": timezone.localdate(),
        "clinics": Clinic.objects.filter(club=club),
        "swimmers": Swimmer.objects.filter(club=club).order_by("name"),
    }
    return render(request, "clinics/holds.html", context)


def _to_hold(club: Club, what: str) -> HttpResponse:
    """To the page that holds what was chosen from the list: “clinic:…”, “swimmer:…”."""
    kind, _colon, of = what.partition(":")
    try:
        return redirect("clinics:hold", slug=club.slug, kind=kind, of=uuid.UUID(of))
    except (ValueError, NoReverseMatch):
        raise Http404 from None


def _subject(club: Club, kind: str, pk: uuid.UUID) -> tuple[str, str]:
    """The kind as a model's label, and the name, if it is this club's."""
    if kind not in OFFERED:
        raise Http404
    label = OFFERED[kind]
    model, path = acts.OF_CLUB[label]
    get_object_or_404(model._base_manager.filter(**{path: club}), pk=pk)
    return label, acts.SAY[label]([pk])[pk]


@fresh_sign_in_required
@require_http_methods(["GET", "HEAD", "POST"])
def hold_new(request: HttpRequest, slug: str, kind: str, of: uuid.UUID) -> HttpResponse:
    club = club_run_by(request, slug)
    label, name = _subject(club, kind, of)
    form = HoldForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        about: dict[str, Any] = {"club": club, "kind": label, "pk": of, "by": me(request)}
        try:
            acts.hold(**about, **form.cleaned_data)
        except HoldRefused as refusal:
            form.add_error(None, str(refusal))
        else:
            messages.success(request, _("Held: %(what)s. Nobody sees it now.") % {"what": name})
            return redirect("clinics:holds", slug=club.slug)
    status = 422 if request.method == "POST" else 200
    context = {"of_club": club, "form": form, "name": name}
    return render(request, "clinics/hold.html", context, status=status)


@fresh_sign_in_required
@require_POST
def hold_end(request: HttpRequest, slug: str, pk: uuid.UUID) -> HttpResponse:
    club = club_run_by(request, slug)
    try:
        acts.end_hold(club=club, pk=pk, by=me(request))
    except PermissionDenied:
        raise Http404 from None
    told = _("Ended. It is seen again, and goes on its day; what is past its day goes now.")
    messages.success(request, told)
    return redirect("clinics:holds", slug=club.slug)
