"""The page of a clinic's stations: what stands on it, whole or in the parts that a move changes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _

from clinics.actions.errors import BadInput
from clinics.actions.kit import StationKit, kits_of
from clinics.actions.stations import place_of
from clinics.actions.stations_change import MOST, filmed_at
from clinics.actions.stations_seen import stations_seen
from clinics.models import Clinic, Station
from clinics.views.plan_places import plan_places
from clinics.views.stations_drawn import SIZES_PX, pool_context
from clinics.views.stations_findings import fig
from clinics.views.stations_forms import NewStationForm, PlaceForm
from clinics.views.stations_told import StationTold, stations_told
from clinics.views.stations_undo import last_move
from clinics.views.words import in_words
from portal.requests import SignedInRequest

PARTS = "parts"  # what the plan's script asks for: X-Plan: parts
Errors = list[tuple[str, str]]


@dataclass(frozen=True)
class StationRow:
    told: StationTold
    kit: StationKit
    place_form: PlaceForm


def show(
    request: SignedInRequest,
    clinic: Clinic,
    *,
    errors: Errors | None = None,
    place_form: tuple[Station, PlaceForm] | None = None,
    new_form: NewStationForm | None = None,
    said: str = "",
) -> HttpResponse:
    """The page, or its parts for the script; forms that did not fit keep what was typed."""
    context = _context(request, clinic, place_form)
    context |= {"errors": errors or [], "said": said, "new_form": new_form or NewStationForm()}
    parts = request.headers.get("X-Plan") == PARTS
    template = "clinics/stations_parts.html" if parts else "clinics/stations.html"
    return render(request, template, context, status=422 if errors else 200)


def go_on(request: SignedInRequest, station: Station, said: str) -> HttpResponse:
    """After something was changed: the parts anew for the script, else back to the page."""
    if request.headers.get("X-Plan") == PARTS:
        return show(request, station.clinic, said=said)
    messages.success(request, said)
    place = reverse("clinics:stations", args=[station.clinic_id])
    return redirect(f"{place}#station-{station.pk}")


def _context(
    request: SignedInRequest, clinic: Clinic, place_form: tuple[Station, PlaceForm] | None
) -> dict[str, Any]:
    runs = Clinic.objects.run_by(request.user).filter(pk=clinic.pk).exists()
    checks = Clinic.objects.checked_by(request.user).filter(pk=clinic.pk).exists()
    changes = runs and clinic.state != Clinic.State.CLOSED
    seen = stations_seen(clinic)
    told, kits = stations_told(seen), kits_of(clinic, seen.stations)
    typed = {place_form[0].pk: place_form[1]} if place_form else {}
    rows = [
        StationRow(one, kit, typed.get(one.station.pk) or _place_form(one.station))
        for one, kit in zip(told, kits, strict=True)
    ]
    return {
        "clinic": clinic,
        "places_of_plan": plan_places(clinic, "stations"),
        "rows": rows,
        "filmed": filmed_at(clinic) if changes else set(),
        "to_look": sum(one.to_look > 0 for one in told),
        "plan_moves": changes,
        "covers": runs or checks,
        "closed": clinic.state == Clinic.State.CLOSED,
        "may_add": changes and len(rows) < MOST,
        "undo": _undo_words(request, clinic, rows) if changes else "",
        "pool": seen.pool,
        **pool_context(clinic, width_px=SIZES_PX["wide"], seen=seen),
    }


def _place_form(station: Station) -> PlaceForm:
    place = place_of(station)
    return PlaceForm(
        initial={name: getattr(place, name) for name in PlaceForm.base_fields},
        auto_id=f"place-{station.pk}-%s",
    )


def _undo_words(request: SignedInRequest, clinic: Clinic, rows: list[StationRow]) -> str:
    """What undoing would do; empty if there is nothing to undo."""
    move = last_move(request.session, clinic)
    names = {str(row.told.station.pk): row.told.station.name for row in rows}
    if move is None or move[0] not in names:
        return ""
    key, was, now = move
    told = {"name": names[key], "x": fig(was.x_m), "y": fig(was.y_m)}
    if (was.x_m, was.y_m) != (now.x_m, now.y_m):
        return _("Undo: %(name)s back to %(x)s m along, %(y)s m across") % told
    return _("Undo the last change of where %(name)s looks or how high it stands") % told


def labelled(bad: BadInput, form_class: type[Any]) -> Errors:
    """Complaints in the reader's language, each by its field's label."""
    fields = form_class.base_fields
    found = in_words(bad).errors
    return [(str(fields[name].label) if name in fields else name, text) for name, text in found]


def form_errors(form: Any) -> Errors:
    return [
        (str(form.fields[name].label) if name in form.fields else "", str(text))
        for name, texts in form.errors.items()
        for text in texts
    ]
