"""The clinics somebody works at, one clinic and what needs doing next, and new ones."""

from __future__ import annotations

import uuid
from typing import Any

from django.contrib import messages
from django.db.models import Count, Q
from django.http import Http404, HttpResponse, HttpResponseNotAllowed
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from clinics.actions.align import fit_clocks
from clinics.actions.cut import plan_cuts
from clinics.actions.errors import BadInput
from clinics.actions.plan import take_in_plan
from clinics.actions.whats_next import standing_of
from clinics.models import Clinic
from clinics.views.forms import PlanForm
from clinics.views.progress import progress_context
from clinics.views.words import in_words
from portal.models import Club, Membership
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
    context = {"clinics": rows, "several_clubs": several_clubs, "may_add": _is_admin(request)}
    return render(request, "clinics/clinics.html", context)


def _is_admin(request: SignedInRequest) -> bool:
    return _admin_of(request).exists()


def _admin_of(request: SignedInRequest) -> Any:
    current = Membership.objects.current().filter(user=request.user, role="admin")
    return Club.objects.filter(pk__in=current.values("club_id"))


def clinic(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    row = get_object_or_404(Clinic.objects.visible_to(request.user).select_related("club"), pk=pk)
    if request.method not in SAFE:
        return HttpResponseNotAllowed(SAFE)
    context = standing_of(row, request.user)
    context |= progress_context(row, may_stop=context["may"]["work"])
    return render(request, "clinics/clinic.html", context)


def clinic_new(request: SignedInRequest) -> HttpResponse:
    """A clinic from its plan and roster; admins of a club only."""
    if not _is_admin(request):
        raise Http404
    form = PlanForm(request.POST or None, request.FILES or None)
    errors: list[tuple[str, str]] = []
    if request.method == "POST" and form.is_valid():
        try:
            row = take_in_plan(
                text=form.cleaned_data["plan"],
                roster_text=form.cleaned_data["roster"] or None,
                by=request.user,
            )
        except BadInput as bad:
            errors = in_words(bad).errors
        else:
            messages.success(request, _("%(clinic)s is planned.") % {"clinic": row.name})
            return redirect("clinics:clinic", pk=row.pk)
    context = {"form": form, "errors": errors, "clubs": _admin_of(request)}
    status = 422 if request.method == "POST" else 200
    return render(request, "clinics/clinic_new.html", context, status=status)


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
