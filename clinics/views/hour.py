"""The pool hour: when it is, whether all fit, the timetable; and its running order, which an
admin changes."""

from __future__ import annotations

import uuid
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse, HttpResponseNotAllowed
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from clinics.actions.errors import BadInput
from clinics.actions.pool_hour import planned, set_pool_hour
from clinics.actions.running_order import (
    Arrangement,
    arrange,
    arrangement_of,
    move_swimmer,
    next_group_name,
    step_group,
    step_swimmer,
)
from clinics.models import Clinic, PoolHour
from clinics.views.hour_forms import OrderForm, PoolHourForm
from clinics.views.hour_order import order_page
from clinics.views.hour_told import summary_of, timetable_of
from clinics.views.hour_words import ways
from clinics.views.plan_places import plan_places
from clinics.views.words import in_words
from portal.requests import SignedInRequest

Errors = list[tuple[str, str]]
NEW_GROUP = "+"


def _clinic(request: SignedInRequest, pk: uuid.UUID) -> tuple[Clinic, bool]:
    """The clinic if the person may see its plan, and whether they may change it."""
    row = get_object_or_404(Clinic.objects.visible_to(request.user).select_related("club"), pk=pk)
    runs = Clinic.objects.run_by(request.user).filter(pk=pk).exists()
    if request.method == "POST" and not runs:
        raise Http404
    return row, runs


def pool_hour(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    clinic, runs = _clinic(request, pk)
    if request.method not in ("GET", "HEAD", "POST"):
        return HttpResponseNotAllowed(["GET", "HEAD", "POST"])
    hour = PoolHour.objects.filter(clinic=clinic).first() or PoolHour(clinic=clinic)
    form = PoolHourForm(request.POST or None, instance=hour)
    errors: Errors = []
    if request.method == "POST" and form.is_valid():
        errors = _set(request, clinic, form)
        if not errors:
            messages.success(request, _("The pool hour is planned anew."))
            return redirect("clinics:pool-hour", pk=pk)
    context = {"clinic": clinic, "runs": runs, "form": form, "errors": errors}
    context |= _timetable(clinic) | {"places_of_plan": plan_places(clinic, "pool-hour")}
    with timezone.override(clinic.zone):
        status = 422 if request.method == "POST" else 200
        return render(request, "clinics/hour.html", context, status=status)


def _set(request: SignedInRequest, clinic: Clinic, form: PoolHourForm) -> Errors:
    try:
        set_pool_hour(clinic=clinic, values=form.cleaned_data, by=request.user)
    except BadInput as bad:
        return in_words(bad).errors
    return []


def _timetable(clinic: Clinic) -> dict[str, Any]:
    plan = planned(clinic)
    if plan is None:
        has_hour = PoolHour.objects.filter(clinic=clinic).exists()
        return {"plan": None, "needs_roster": has_hour}
    stations = list(clinic.stations.all())
    told = {"groups": timetable_of(plan, stations), "stations": stations, "ways": ways(plan)}
    return summary_of(plan) | told


# --- the running order ------------------------------------------------------------------------


def running_order(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    clinic, runs = _clinic(request, pk)
    if not runs:
        raise Http404
    if request.method not in ("GET", "HEAD", "POST"):
        return HttpResponseNotAllowed(["GET", "HEAD", "POST"])
    errors: Errors = []
    if request.method == "POST":
        form = OrderForm(request.POST)
        errors = _change(request, clinic, form)
        if not errors:
            number = form.cleaned_data["number"]
            place = f"#n{number}" if number else ""
            return redirect(reverse("clinics:running-order", args=[pk]) + place)
    context = order_page(clinic, request.GET.get("groups", ""), NEW_GROUP) | {"errors": errors}
    with timezone.override(clinic.zone):
        status = 422 if errors else 200
        return render(request, "clinics/hour_order.html", context, status=status)


def _change(request: SignedInRequest, clinic: Clinic, form: OrderForm) -> Errors:
    if not form.is_valid():
        return [("", str(told)) for each in form.errors.values() for told in each]
    try:
        wanted = _wanted(arrangement_of(clinic), form.cleaned_data)
        moved = arrange(clinic=clinic, wanted=wanted, by=request.user)
    except BadInput as bad:
        return in_words(bad).errors
    told = ngettext(
        "%(count)d swimmer has a new place.", "%(count)d swimmers have a new place.", moved
    )
    messages.success(request, told % {"count": moved} if moved else _("Nothing had to be moved."))
    return []


def _wanted(now: Arrangement, said: dict[str, Any]) -> Arrangement:
    act, number, group = said["act"], said["number"], said["group"]
    if act == "take":
        return list(said["order"])
    if act == "move":
        group = next_group_name([name for name, _its in now]) if group == NEW_GROUP else group
        return move_swimmer(now, number, group, said["place"])
    places = -1 if act.endswith("up") else 1
    if act in ("up", "down"):
        return step_swimmer(now, number, places)
    return step_group(now, group, places)
