"""A clinic's plan at a glance; taking plan and roster in anew is for admins of the club."""

from __future__ import annotations

import uuid

from django.contrib import messages
from django.http import Http404, HttpResponse, HttpResponseNotAllowed
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _

from clinics.actions.errors import BadInput
from clinics.actions.plan import take_in_plan
from clinics.actions.roster import take_in_roster
from clinics.models import Clinic
from clinics.views.forms import PlanForm, RosterForm
from clinics.views.plan_overview import overview_of
from clinics.views.words import in_words
from portal.requests import SignedInRequest


def _clinic(request: SignedInRequest, pk: uuid.UUID) -> tuple[Clinic, bool]:
    """The clinic if the person may see its plan, and whether they may change it."""
    row = get_object_or_404(
        Clinic.objects.visible_to(request.user).select_related("club", "venue_sheet"), pk=pk
    )
    runs = Clinic.objects.run_by(request.user).filter(pk=pk).exists()
    if request.method == "POST" and not runs:
        raise Http404
    return row, runs


def plan(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    row, runs = _clinic(request, pk)
    if request.method not in ("GET", "HEAD", "POST"):
        return HttpResponseNotAllowed(["GET", "HEAD", "POST"])
    form = PlanForm(request.POST or None, request.FILES or None)
    errors: list[tuple[str, str]] = []
    if request.method == "POST" and form.is_valid():
        errors = _take_in(request, row, form)
        if not errors:
            messages.success(request, _("The plan is taken in."))
            return redirect("clinics:clinic-plan", pk=row.pk)
    covers = runs or Clinic.objects.checked_by(request.user).filter(pk=row.pk).exists()
    context = {"clinic": row, "runs": runs, "covers": covers, "form": form, "errors": errors}
    context |= overview_of(row)
    status = 422 if request.method == "POST" else 200
    with timezone.override(row.zone):
        return render(request, "clinics/plan.html", context, status=status)


def _take_in(request: SignedInRequest, row: Clinic, form: PlanForm) -> list[tuple[str, str]]:
    try:
        take_in_plan(
            text=form.cleaned_data["plan"],
            roster_text=form.cleaned_data["roster"] or None,
            by=request.user,
            slug=row.slug,
        )
    except BadInput as bad:
        return in_words(bad).errors
    return []


def roster(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """Take in a roster; what was typed stays until it fits."""
    row, runs = _clinic(request, pk)
    if not runs:
        raise Http404
    form = RosterForm(request.POST or None, request.FILES or None)
    errors: list[tuple[str, str]] = []
    if request.method == "POST" and form.is_valid():
        try:
            taken = take_in_roster(
                clinic=row, text=form.cleaned_data["roster"], by=request.user, source=_("roster")
            )
        except BadInput as bad:
            errors = in_words(bad).errors
        else:
            told = _("Taken in: %(added)s new, %(kept)s kept, %(removed)s taken out.")
            counts = {"added": taken.added, "kept": taken.changed, "removed": taken.removed}
            messages.success(request, told % counts)
            return redirect("clinics:clinic-plan", pk=row.pk)
    context = {"clinic": row, "form": form, "errors": errors}
    status = 422 if request.method == "POST" else 200
    return render(request, "clinics/roster.html", context, status=status)
