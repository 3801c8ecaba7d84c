"""The venue sheet: read by all who may see the plan, changed by the club's admins."""

from __future__ import annotations

import uuid
from typing import Any

from django.contrib import messages
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from clinics.actions.errors import BadInput
from clinics.actions.venue import copy_venue, put_venue, venue_of
from clinics.compute.depth_drawing import depth_drawing
from clinics.models import Clinic, VenueSheet
from clinics.views.plan_places import plan_places
from clinics.views.venue_forms import CopyForm, VenueForm, bad_words
from clinics.views.venue_told import missing, parts_of
from clinics.views.who import me


def _clinic(request: HttpRequest, pk: uuid.UUID) -> tuple[Clinic, bool]:
    """The clinic, and whether the person may change its sheet; only they may post."""
    seen = Clinic.objects.visible_to(me(request))
    run = Clinic.objects.run_by(me(request))
    rows = run if request.method == "POST" else seen
    row = get_object_or_404(rows.select_related("club", "venue_sheet__changed_by"), pk=pk)
    return row, row.state != Clinic.State.CLOSED and run.filter(pk=pk).exists()


@require_http_methods(["GET", "HEAD", "POST"])
def venue(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    row, changes = _clinic(request, pk)
    sheet = venue_of(row)
    form = VenueForm(request.POST or None, instance=sheet or VenueSheet(clinic=row))
    if request.method == "POST" and form.is_valid():
        try:
            put_venue(clinic=row, values=form.values(), by=me(request))
        except BadInput as bad:
            form.complain(bad.errors)
        else:
            messages.success(request, _("The venue sheet is kept."))
            return redirect("clinics:venue", pk=row.pk)
    status = 422 if request.method == "POST" else 200
    context = _page(row, sheet) | {"form": form, "changes": changes}
    if changes:
        context["copy"] = _copy_form(request, row)
    return render(request, "clinics/venue.html", context, status=status)


def _page(row: Clinic, sheet: VenueSheet | None) -> dict[str, Any]:
    parts = parts_of(sheet) if sheet else ()
    profile = sheet.depth_profile if sheet else []
    return {
        "clinic": row,
        "sheet": sheet,
        "parts": parts,
        "missing": missing(parts),
        "drawing": depth_drawing(profile) if profile else None,
        "places_of_plan": plan_places(row, "venue"),
    }


def _earlier(request: HttpRequest, row: Clinic) -> QuerySet[Clinic]:
    """Other clinics at the same venue that have a sheet, of clubs that the person runs."""
    run = Clinic.objects.run_by(me(request)).filter(venue_sheet__isnull=False)
    return run.filter(venue__iexact=row.venue.strip()).exclude(pk=row.pk)


def _copy_form(request: HttpRequest, row: Clinic) -> CopyForm | None:
    clinics = _earlier(request, row)
    return CopyForm(clinics=clinics) if clinics.exists() else None


@require_POST
def venue_copy(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    row, _changes = _clinic(request, pk)
    form = CopyForm(request.POST, clinics=_earlier(request, row))
    if not form.is_valid():
        messages.error(request, _("Choose an earlier clinic at this venue."))
        return redirect("clinics:venue", pk=row.pk)
    try:
        copy_venue(to=row, from_clinic=form.cleaned_data["clinic"], by=me(request))
    except BadInput as bad:
        for words in bad_words(bad):
            messages.error(request, words)
    else:
        told = _("Copied, where nobody had said anything here. Permission and juniors: ask anew.")
        messages.success(request, told)
    return redirect("clinics:venue", pk=row.pk)
