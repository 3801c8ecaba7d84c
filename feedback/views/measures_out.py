"""What coaches take along of a clinic's measures: a table, and a package of tables with their
schema."""

from __future__ import annotations

import uuid

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils.http import content_disposition_header
from django.views.decorators.http import require_safe

from clinics.models import Clinic
from feedback.actions.measures_out import coach_table, note_taken
from feedback.actions.measures_out_package import data_package
from portal.csv_out import csv_response
from portal.pages import page_of
from portal.requests import SignedInRequest
from portal.shell import stands_under


def _clinic(request: SignedInRequest, pk: uuid.UUID) -> Clinic:
    clinics = Clinic.objects.coached_by(request.user).select_related("club")
    return get_object_or_404(clinics, pk=pk)


@require_safe
def measures_out(request: SignedInRequest) -> HttpResponse:
    """The clinics that somebody coaches, newest first, each with what there is to take along."""
    stands_under(request, "waiting")
    clinics = Clinic.objects.coached_by(request.user).select_related("club")
    page = page_of(clinics.order_by("-date", "name"), request.GET)
    return render(request, "feedback/progress_out.html", {"clinics": page.rows, "page": page})


@require_safe
def measures_csv(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    clinic = _clinic(request, pk)
    header, rows, swims = coach_table(clinic, request.user)
    if request.method == "GET":
        note_taken(clinic=clinic, by=request.user, swims=swims, kind="table", names=True)
    return csv_response(f"measures-{clinic.slug}.csv", header, rows)


@require_safe
def measures_package(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """Without names unless they are asked for."""
    clinic, names = _clinic(request, pk), request.GET.get("names") == "yes"
    content, swims = data_package(clinic, request.user, names=names)
    if request.method == "GET":
        note_taken(clinic=clinic, by=request.user, swims=swims, kind="package", names=names)
    disposition = content_disposition_header(
        as_attachment=True, filename=f"measures-{clinic.slug}.zip"
    )
    return HttpResponse(
        content,
        content_type="application/zip",
        headers={"Content-Disposition": disposition or "", "Cache-Control": "private, no-store"},
    )
