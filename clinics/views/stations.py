"""The stations of a clinic on the pool plan: who works for the club sees them, an admin moves,
adds and removes them, and says what their cameras are like."""

from __future__ import annotations

import uuid

from django import forms
from django.contrib import messages
from django.http import Http404, HttpResponse, HttpResponseNotAllowed
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from clinics.actions.errors import BadInput
from clinics.actions.stations import move_station, put_back
from clinics.actions.stations_change import (
    add_station,
    change_station,
    is_used,
    remove_station,
)
from clinics.actions.stations_seen import stations_seen
from clinics.models import Clinic, Station
from clinics.views.plan_places import plan_places
from clinics.views.stations_drawn import pool_context
from clinics.views.stations_forms import NewStationForm, PlaceForm, StationForm
from clinics.views.stations_page import form_errors, go_on, labelled, show
from clinics.views.stations_told import place_words, stations_told
from clinics.views.stations_undo import forget_last, last_move, remember
from clinics.views.words import in_words
from portal.requests import SignedInRequest

__all__ = ["pool_context"]
WITH = ("club", "venue_sheet")


def _run_by(request: SignedInRequest, pk: uuid.UUID) -> Station:
    """A station of a clinic that the person runs."""
    runs = Clinic.objects.run_by(request.user)
    related = [f"clinic__{name}" for name in ("club", "venue_sheet")]
    rows = Station.objects.filter(clinic__in=runs.values("pk")).select_related(*related)
    return get_object_or_404(rows, pk=pk)


def stations(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """The plan; a POST adds a station."""
    clinics = Clinic.objects.visible_to(request.user).select_related(*WITH)
    clinic = get_object_or_404(clinics, pk=pk)
    if request.method in ("GET", "HEAD"):
        return show(request, clinic)
    if request.method == "POST" and not Clinic.objects.run_by(request.user).filter(pk=pk).exists():
        raise Http404
    if request.method != "POST":
        return HttpResponseNotAllowed(["GET", "HEAD", "POST"])
    form = NewStationForm(request.POST)
    if not form.is_valid():
        return show(request, clinic, errors=form_errors(form), new_form=form)
    try:
        station = add_station(clinic=clinic, by=request.user, **form.cleaned_data)
    except BadInput as bad:
        return show(request, clinic, errors=labelled(bad, NewStationForm), new_form=form)
    told = _("%(name)s is on the plan. Put it where it stands, and say what its camera is like.")
    return go_on(request, station, told % {"name": station.name})


class MoveForm(PlaceForm):
    dragged = forms.BooleanField(required=False)


@require_POST
def station_move(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    station = _run_by(request, pk)
    form = MoveForm(request.POST, auto_id=f"place-{station.pk}-%s")
    if not form.is_valid():
        errors = form_errors(form)
        return show(request, station.clinic, errors=errors, place_form=(station, form))
    dragged = form.cleaned_data.pop("dragged")
    try:
        was, now = move_station(station=station, to=form.place(), by=request.user, snap=dragged)
    except BadInput as bad:
        errors = labelled(bad, PlaceForm)
        return show(request, station.clinic, errors=errors, place_form=(station, form))
    remember(request.session, station, was, now)
    station.refresh_from_db(fields=["x_m", "y_m", "z_m", "bearing_deg"])
    told = _("%(name)s: %(place)s.") % {"name": station.name, "place": place_words(station)}
    if abs(now.x_m - form.place().x_m) > 0.01 or abs(now.y_m - form.place().y_m) > 0.01:
        told += " " + _("That is as near as a station of its kind may stand.")
    return go_on(request, station, told)


@require_POST
def stations_undo(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """The person's own last move on this plan."""
    clinics = Clinic.objects.run_by(request.user).select_related(*WITH)
    clinic = get_object_or_404(clinics, pk=pk)
    move = last_move(request.session, clinic)
    if move is None:
        return show(request, clinic, errors=[("", _("There is nothing to undo."))])
    key, was, now = move
    forget_last(request.session, clinic)
    station = clinic.stations.filter(pk=key).first()
    if station is None:
        return show(request, clinic, errors=[("", _("This station has been removed meanwhile."))])
    try:
        put_back(station=station, was=was, now=now, by=request.user)
    except BadInput as bad:
        return show(request, clinic, errors=in_words(bad).errors)
    station.clinic = clinic
    told = _("%(name)s is back where it was.") % {"name": station.name}
    return go_on(request, station, told)


def station(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """What a station is called and what its camera is like."""
    row = _run_by(request, pk)
    if request.method not in ("GET", "HEAD", "POST"):
        return HttpResponseNotAllowed(["GET", "HEAD", "POST"])
    form = StationForm(request.POST or None, station=row)
    if request.method == "POST" and form.is_valid():
        try:
            change_station(station=row, values=form.said(), by=request.user)
        except BadInput as bad:
            _put_errors(form, bad)
        else:
            told = _("%(name)s is changed.") % {"name": form.cleaned_data["name"]}
            return go_on(request, row, told)
    told_of = {one.station.pk: one for one in stations_told(stations_seen(row.clinic))}
    context = {
        "clinic": row.clinic,
        "station": row,
        "told": told_of[row.pk],
        "form": form,
        "used": is_used(row),
        "closed": row.clinic.state == Clinic.State.CLOSED,
        "places_of_plan": plan_places(row.clinic, "stations"),
    }
    return render(request, "clinics/stations_one.html", context, status=422 if form.errors else 200)


def _put_errors(form: forms.Form, bad: BadInput) -> None:
    for name, text in in_words(bad).errors:
        form.add_error(name if name in form.fields else None, text)


@require_POST
def station_remove(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    row = _run_by(request, pk)
    try:
        remove_station(station=row, by=request.user)
    except BadInput as bad:
        messages.error(request, " ".join(text for _where, text in in_words(bad).errors))
    else:
        messages.success(request, _("%(name)s is off the plan.") % {"name": row.name})
    return redirect("clinics:stations", pk=row.clinic_id)
