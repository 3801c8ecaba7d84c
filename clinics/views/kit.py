"""What a station must bring, ticked by whoever packs it; and on paper."""

from __future__ import annotations

import uuid

from django.http import Http404, HttpResponse, HttpResponseNotAllowed
from django.shortcuts import get_object_or_404, redirect, render

from clinics.actions.errors import BadInput
from clinics.actions.kit import kits_of, tick, untick
from clinics.actions.stations_seen import stations_seen
from clinics.compute.station_needs import marker_places_m
from clinics.models import Clinic, Station
from clinics.views.kit_told import files_told, kit_told, lines_told, mode_told
from clinics.views.plan_places import plan_places
from clinics.views.stations_findings import fig
from clinics.views.stations_told import stations_told
from clinics.views.words import in_words
from portal.requests import SignedInRequest


def station_kit(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """Who works for the club reads it; crew, whoever has a post, and admins tick."""
    seen = Clinic.objects.visible_to(request.user).values("pk")
    related = ("clinic__club", "clinic__venue_sheet")
    rows = Station.objects.filter(clinic__in=seen).select_related(*related)
    station = get_object_or_404(rows, pk=pk)
    ticks = _may_tick(request, station.clinic)
    if request.method in ("GET", "HEAD"):
        return _show(request, station, ticks=ticks)
    if request.method == "POST" and not ticks:
        raise Http404
    if request.method != "POST":
        return HttpResponseNotAllowed(["GET", "HEAD", "POST"])
    act = untick if request.POST.get("off") else tick
    key = request.POST.get("off") or request.POST.get("on", "")
    try:
        act(station=station, key=key, by=request.user)
    except BadInput as bad:
        return _show(request, station, ticks=ticks, errors=in_words(bad).errors)
    if request.headers.get("X-Plan") == "parts":
        return _show(request, station, ticks=ticks)
    return redirect("clinics:station-kit", pk=station.pk)


def _may_tick(request: SignedInRequest, clinic: Clinic) -> bool:
    mine = Clinic.objects.filter(pk=clinic.pk)
    return mine.worked_by(request.user).exists() or mine.run_by(request.user).exists()


def _show(
    request: SignedInRequest,
    station: Station,
    *,
    ticks: bool,
    errors: list[tuple[str, str]] | None = None,
) -> HttpResponse:
    clinic = station.clinic
    told = {one.station.pk: one for one in stations_told(stations_seen(clinic))}
    (kit,) = kits_of(clinic, [station])
    closed = clinic.state == Clinic.State.CLOSED
    context = {
        "clinic": clinic,
        "station": station,
        "told": told[station.pk],
        "kit": kit,
        "needs": kit_told(kit),
        "files": files_told(kit),
        "mode": mode_told(kit.bit_rate),
        "kit_things": lines_told(kit.things),
        "kit_cautions": lines_told(kit.cautions),
        "markers": ", ".join(fig(place) for place in marker_places_m(clinic.course_m)),
        "ticks": ticks and not closed,
        "errors": errors or [],
        "places_of_plan": plan_places(clinic, "stations"),
    }
    parts = request.headers.get("X-Plan") == "parts"
    template = "clinics/kit_parts.html" if parts else "clinics/kit.html"
    return render(request, template, context, status=422 if errors else 200)
