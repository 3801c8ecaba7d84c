"""What a club keeps and how long: its rules, what goes when, and each clinic's dates. For its
admins; no footage here."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Sequence
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from clinics.actions import custody
from clinics.actions.holds import holds_of
from clinics.actions.keeping_calendar import Line, calendar_of, room_used
from clinics.actions.keeping_rules import RulesRefused, row_of, set_rules
from clinics.models import Clinic
from clinics.views.club_admin import club_run_by
from clinics.views.keeping_forms import CalendarForm, RulesForm
from clinics.views.keeping_told import clinics_left_open, recordings_kept, swims_kept
from clinics.views.who import me
from portal.csv_out import csv_response
from portal.freshness import fresh_sign_in_required
from portal.models import Club

SOON = dt.timedelta(days=30)


@require_safe
def keeping(request: HttpRequest, slug: str) -> HttpResponse:
    club = club_run_by(request, slug)
    form = CalendarForm(request.GET, club=club)
    chosen = form.cleaned_data if form.is_valid() else {}
    clinic = chosen.get("clinic")
    lines = calendar_of(club, what=chosen.get("what", ""), clinic=clinic.pk if clinic else None)
    if request.GET.get("as") == "csv":
        return _calendar_csv(club, lines)
    context = {"of_club": club, "form": form, "lines": lines, **_sums(lines), **_needs(club)}
    context |= {"rules": row_of(club), "used": room_used(club)}
    context["clinics"] = Clinic.objects.filter(club=club)
    return render(request, "clinics/keeping.html", context)


def _sums(lines: Sequence[Line]) -> dict[str, Any]:
    until = (timezone.now() + SOON).date()
    soon = [line for line in lines if line.day <= until]
    return {
        "today": timezone.now().date(),
        "frees": sum(line.size_bytes for line in lines),
        "frees_soon": sum(line.size_bytes for line in soon),
        "soon_days": SOON.days,
    }


def _needs(club: Club) -> dict[str, Any]:
    """What waits for the admin."""
    held = holds_of(club).filter(ended_at=None)
    return {
        "left_open": clinics_left_open(club),
        "carriers": list(custody.open_items(club)),
        "held": held.count(),
        "to_review": held.filter(review_on__lte=timezone.localdate()).count(),
    }


def _calendar_csv(club: Club, lines: Sequence[Line]) -> HttpResponse:
    head = [_("Goes on (UTC)"), _("What"), _("Clinic"), _("How many"), _("Bytes")]
    rows = [
        [line.day.isoformat(), str(line.label), line.clinic, line.count, line.size_bytes]
        for line in lines
    ]
    return csv_response(f"keeping-{club.slug}.csv", head, rows)


@fresh_sign_in_required
@require_http_methods(["GET", "HEAD", "POST"])
def rules(request: HttpRequest, slug: str) -> HttpResponse:
    club = club_run_by(request, slug)
    form = RulesForm(request.POST or None, instance=row_of(club))
    if request.method == "POST" and form.is_valid():
        try:
            set_rules(club=club, values=form.cleaned_data, by=me(request))
        except RulesRefused as refusal:
            form.add_error("measures_months", str(refusal))
        else:
            messages.success(request, _("Saved. All dates are being worked out by these rules."))
            return redirect("clinics:keeping", slug=club.slug)
    status = 422 if request.method == "POST" else 200
    context = {"of_club": club, "form": form}
    return render(request, "clinics/keeping_rules.html", context, status=status)


@require_safe
def clinic_keeping(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """Every swim and recording of a clinic: until when it is kept, and why."""
    clinics = Clinic.objects.run_by(me(request)).select_related("club")
    clinic = get_object_or_404(clinics, pk=pk)
    swims, recordings = swims_kept(clinic), recordings_kept(clinic)
    if request.GET.get("as") == "csv":
        head = [_("What"), _("Clips go on (UTC)"), _("Why"), _("All goes on (UTC)"), _("Why")]
        rows = [line.cells() for line in (*swims, *recordings)]
        return csv_response(f"keeping-{clinic.slug}.csv", head, rows)
    context = {"clinic": clinic, "swims": swims, "recordings": recordings}
    return render(request, "clinics/clinic_keeping.html", context)
