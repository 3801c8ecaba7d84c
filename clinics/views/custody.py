"""Copies outside the site: cards, phones and laptops of a clinic, until they are wiped."""

from __future__ import annotations

import uuid

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from clinics.actions import custody as acts
from clinics.actions.custody import CustodyRefused
from clinics.models import Clinic, Custody
from clinics.views.keeping_forms import CustodyForm
from clinics.views.who import me
from portal.csv_out import csv_response


def _clinic(request: HttpRequest, pk: uuid.UUID) -> Clinic:
    return get_object_or_404(acts.clinics_for(me(request)), pk=pk)


@require_http_methods(["GET", "HEAD", "POST"])
def custody(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    clinic = _clinic(request, pk)
    form = CustodyForm(request.POST or None, clinic=clinic)
    if request.method == "POST" and form.is_valid():
        row = acts.hand_over(clinic=clinic, by=me(request), **form.cleaned_data)
        messages.success(request, _("Noted: %(label)s is out.") % {"label": row.label})
        return redirect("clinics:custody", pk=clinic.pk)
    rows = list(clinic.custody.select_related("station"))
    if request.GET.get("as") == "csv":
        return _csv(clinic, rows)
    came_in = acts.came_in_to(rows)
    lines = [(row, acts.is_open(row), acts.copies_itself(row), came_in[row.pk]) for row in rows]
    context = {"clinic": clinic, "form": form, "lines": lines}
    status = 422 if request.method == "POST" else 200
    return render(request, "clinics/custody.html", context, status=status)


def _csv(clinic: Clinic, rows: list[Custody]) -> HttpResponse:
    head = [_("What it is"), _("Written on it"), _("Station"), _("Handed to"), _("Since")]
    head += [_("Copies itself"), _("Safely in"), _("Wiped"), _("Wiped by")]
    told = [
        [
            row.get_kind_display(),
            row.label,
            row.station,
            row.holder,
            row.handed_at.isoformat(timespec="minutes"),
            _("yes, or not known") if acts.copies_itself(row) else "",
            row.safely_in_at and row.safely_in_at.isoformat(timespec="minutes"),
            row.wiped_at and row.wiped_at.isoformat(timespec="minutes"),
            row.wiped_by_name,
        ]
        for row in rows
    ]
    return csv_response(f"copies-{clinic.slug}.csv", head, told)


@require_POST
def note(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """One step further: safely in, copies nothing by itself, or wiped (`do` says which)."""
    rows = Custody.objects.filter(clinic__in=acts.clinics_for(me(request)))
    row = get_object_or_404(rows, pk=pk)
    steps = {"safely-in": acts.note_safely_in, "copies-off": acts.note_copies_off}
    do, by = request.POST.get("do", ""), me(request)
    try:
        if do in steps:
            steps[do](row=row, by=by)
        elif do == "wiped":
            acts.note_wiped(row=row, wiped_by=request.POST.get("wiped_by", "")[:120], by=by)
    except CustodyRefused as refusal:
        messages.error(request, str(refusal))
    return redirect(f"{reverse('clinics:custody', args=[row.clinic_id])}#carrier-{row.pk}")
