"""A new clinic, by a form or from its plan; and the facts of one, for the club's admins."""

from __future__ import annotations

import uuid
from typing import Any

from django.contrib import messages
from django.db.models import Count, QuerySet
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods

from clinics.actions.errors import BadInput
from clinics.actions.new_clinic import new_clinic, set_facts
from clinics.actions.new_clinic_copy import Copied
from clinics.actions.plan import take_in_plan
from clinics.models import Clinic
from clinics.views.clinics_forms import FactsForm, LikeForm, NewClinicForm, initial_of, time_zones
from clinics.views.forms import PlanForm
from clinics.views.plan_places import plan_places
from clinics.views.words import in_words
from portal.models import Club, Membership
from portal.requests import SignedInRequest

METHODS = ["GET", "HEAD", "POST"]


def clubs_run_by(request: SignedInRequest) -> QuerySet[Club]:
    current = Membership.objects.current().filter(user=request.user, role="admin")
    return Club.objects.filter(pk__in=current.values("club_id")).order_by("name")


def _clubs(request: SignedInRequest) -> QuerySet[Club]:
    clubs = clubs_run_by(request)
    if not clubs.exists():
        raise Http404
    return clubs


@require_http_methods(METHODS)
def clinic_new(request: SignedInRequest) -> HttpResponse:
    """`like` in the address names the earlier clinic; the form then begins with its facts."""
    clubs = _clubs(request)
    earlier = Clinic.objects.run_by(request.user).order_by("-date", "name")
    chosen = LikeForm(request.GET or None, clinics=earlier)
    like = chosen.cleaned_data["like"] if chosen.is_valid() else None
    initial = initial_of(like, last=None if like is not None else earlier.first())
    initial.pop("date", None)  # the one thing that is never the same
    form = NewClinicForm(request.POST or None, initial=initial, clubs=clubs, like=like)
    if request.method == "POST" and form.is_valid():
        made = _make(request, form, like)
        if made is not None:
            return redirect("clinics:tasks", pk=made.pk)
    context = {
        "form": form,
        "chosen": chosen if like is not None or earlier.exists() else None,
        "like": _counted(like) if like is not None else None,
        "time_zones": time_zones(),
    }
    status = 422 if request.method == "POST" else 200
    return render(request, "clinics/clinic_new.html", context, status=status)


def _make(request: SignedInRequest, form: NewClinicForm, like: Clinic | None) -> Clinic | None:
    try:
        made, copied = new_clinic(
            club=form.cleaned_data["club"],
            facts=form.facts(),
            slug=form.cleaned_data["slug"],
            like=like,
            stations=form.new_stations(),
            visitor=form.visitor(),
            by=request.user,
        )
    except BadInput as bad:
        form.complain(bad)
        return None
    messages.success(request, _("%(clinic)s is planned.") % {"clinic": made.name})
    if copied is not None:
        _say_what_came_along(request, copied)
    return made


def _say_what_came_along(request: SignedInRequest, copied: Copied) -> None:
    stations = ngettext("%(n)d station", "%(n)d stations", copied.stations)
    duties = ngettext("%(n)d post", "%(n)d posts", copied.duties)
    told = _("Taken along: %(stations)s, %(duties)s held.")
    messages.success(
        request,
        told
        % {
            "stations": stations % {"n": copied.stations},
            "duties": duties % {"n": copied.duties},
        },
    )
    if copied.left_out:
        told = _("Not taken along, since they will not work for the club then: %(who)s.")
        messages.info(request, told % {"who": ", ".join(copied.left_out)})


def _counted(like: Clinic) -> Clinic:
    """With how much of it is taken along."""
    return Clinic.objects.annotate(
        station_count=Count("stations", distinct=True),
        group_count=Count("lane_groups", distinct=True),
        duty_count=Count("duties", distinct=True),
    ).get(pk=like.pk)


@require_http_methods(METHODS)
def clinic_new_plan(request: SignedInRequest) -> HttpResponse:
    """A clinic from its plan and roster."""
    clubs = _clubs(request)
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
    context = {"form": form, "errors": errors, "clubs": clubs}
    status = 422 if request.method == "POST" else 200
    return render(request, "clinics/clinic_new_plan.html", context, status=status)


@require_http_methods(METHODS)
def clinic_facts(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """Name, day, course and the rest; a closed clinic stays as it was."""
    row = get_object_or_404(Clinic.objects.run_by(request.user).select_related("club"), pk=pk)
    form = FactsForm(request.POST or None, initial=initial_of(row))
    if request.method == "POST" and form.is_valid() and _set(request, row, form):
        return redirect("clinics:clinic-plan", pk=row.pk)
    context: dict[str, Any] = {
        "clinic": row,
        "form": form,
        "time_zones": time_zones(),
        "places_of_plan": plan_places(row, "clinic-facts"),
    }
    status = 422 if request.method == "POST" else 200
    return render(request, "clinics/clinic_facts.html", context, status=status)


def _set(request: SignedInRequest, row: Clinic, form: FactsForm) -> bool:
    try:
        changed = set_facts(clinic=row, facts=form.facts(), by=request.user)
    except BadInput as bad:
        form.complain(bad)
        return False
    if changed:
        messages.success(request, _("Changed."))
    if "date" in changed:
        told = _(
            "The tasks moved with the day. Look at who does what: a visitor’s last day did not."
        )
        messages.info(request, told)
    return True
