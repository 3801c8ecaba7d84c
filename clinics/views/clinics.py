"""The clinics somebody works at, and one clinic with what needs doing next."""

from __future__ import annotations

import uuid

from django.contrib import messages
from django.db.models import Count, Q
from django.http import HttpResponse, HttpResponseNotAllowed
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import ngettext

from clinics.actions.align import fit_clocks
from clinics.actions.cut import plan_cuts
from clinics.actions.errors import BadInput
from clinics.actions.whats_next import standing_of
from clinics.models import Clinic
from clinics.views.clinics_new import clubs_run_by
from clinics.views.progress import progress_context
from clinics.views.words import in_words
from portal.requests import SignedInRequest

SAFE = ("GET", "HEAD")


def clinics(request: SignedInRequest) -> HttpResponse:
    """Newest first; hidden and absent clinics look alike elsewhere."""
    if request.method not in SAFE:
        return HttpResponseNotAllowed(SAFE)
    rows = Clinic.objects.visible_to(request.user).select_related("club")
    rows = rows.annotate(
        swimmers=Count("entries", distinct=True),
        swims=Count("entries__swims", distinct=True),
        not_passed=Count(
            "entries__swims", filter=Q(entries__swims__passed_at__isnull=True), distinct=True
        ),
    )
    rows = rows.order_by("-date", "name")
    several_clubs = len({row.club_id for row in rows}) > 1
    context = {
        "clinics": rows,
        "several_clubs": several_clubs,
        "may_add": clubs_run_by(request).exists(),
    }
    return render(request, "clinics/clinics.html", context)


def clinic(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    row = get_object_or_404(Clinic.objects.visible_to(request.user).select_related("club"), pk=pk)
    if request.method not in SAFE:
        return HttpResponseNotAllowed(SAFE)
    context = standing_of(row, request.user)
    context |= progress_context(row, may_stop=context["may"]["work"])
    return render(request, "clinics/clinic.html", context)


def clinic_cut(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """Fit the clocks and plan the clips now; rendering goes on as jobs."""
    row = get_object_or_404(Clinic.objects.worked_by(request.user), pk=pk)
    if request.method != "POST":
        return HttpResponseNotAllowed(["POST"])
    try:
        fit_clocks(clinic=row, by=request.user, listen=False)
        plan = plan_cuts(clinic=row, by=request.user, coarse_too=True, failed_again=True)
    except BadInput as bad:
        messages.error(request, " ".join(in_words(bad).lines()))
    else:
        told = ngettext("%(n)s clip is to be made.", "%(n)s clips are to be made.", plan.waiting)
        messages.success(request, told % {"n": plan.waiting})
    return redirect("clinics:clinic", pk=row.pk)
