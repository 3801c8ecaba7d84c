"""What is always covered at a station. Admins work with the figures; a still of a recording is
for the clinic's checkers only, who see its pictures anyhow."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django import forms
from django.contrib import messages
from django.db.models import Q, QuerySet
from django.http import HttpResponse, HttpResponseNotAllowed
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from clinics.actions.check_rows import CheckRefused
from clinics.actions.clip_source import original_is_there
from clinics.actions.dropped import pictures_open_to
from clinics.actions.errors import BadInput
from clinics.actions.index import frames_of
from clinics.actions.masks import cover_station, uncover_station
from clinics.media.errors import MediaError
from clinics.models import Clinic, Recording, Station, StationMask
from clinics.views.mask_forms import StationMaskForm, figures_of
from clinics.views.recording_frames import Hidden
from portal.requests import SignedInRequest

if TYPE_CHECKING:
    from portal.models import User


def covered_by(user: User) -> QuerySet[Station]:
    """Stations of which the user says what is covered: as the club's admin, or as checker."""
    runs, checks = Clinic.objects.run_by(user), Clinic.objects.checked_by(user)
    mine = Q(clinic__in=runs.values("pk")) | Q(clinic__in=checks.values("pk"))
    return Station.objects.filter(mine).select_related("clinic__club")


def station_masks(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    station = get_object_or_404(covered_by(request.user), pk=pk)
    if request.method not in ("GET", "HEAD", "POST"):
        return HttpResponseNotAllowed(["GET", "HEAD", "POST"])
    form = StationMaskForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        note = form.cleaned_data["note"]
        try:
            cover_station(station=station, area=form.area(), note=note, by=request.user)
        except CheckRefused as refusal:
            form.add_error(None, " ".join(refusal.reasons))
        else:
            messages.success(request, _("Covered. The clips of this station are made again."))
            return redirect("clinics:station-masks", pk=station.pk)
    return _show(request, station, form)


@require_POST
def station_mask_remove(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    stations = covered_by(request.user)
    rows = StationMask.objects.filter(station__in=stations).select_related("station")
    mask = get_object_or_404(rows, pk=pk)
    try:
        uncover_station(mask=mask, by=request.user)
    except CheckRefused as refusal:
        messages.error(request, " ".join(refusal.reasons))
    else:
        messages.success(request, _("Uncovered. The clips of this station are made again."))
    return redirect("clinics:station-masks", pk=mask.station_id)


def _show(request: SignedInRequest, station: Station, form: StationMaskForm) -> HttpResponse:
    masks = station.masks.select_related("made_by").order_by("made_at", "pk")
    context: dict[str, Any] = {
        "station": station,
        "clinic": station.clinic,
        "closed": station.clinic.state == Clinic.State.CLOSED,
        "masks": masks,
        "covered": [(mask, figures_of(mask)) for mask in masks],
        "form": form,
        "look": _look(request, station),
    }
    status = 422 if form.errors else 200
    return render(request, "clinics/station_masks.html", context, status=status)


# --- a picture to draw on ------------------------------------------------------------------------


@dataclass(frozen=True)
class Look:
    """A frame of one of the station's recordings, and which others there are."""

    recording: Recording
    frame: int
    last_frame: int
    recordings: list[Recording]


class LookForm(forms.Form):
    recording = forms.UUIDField(required=False)
    frame = forms.IntegerField(required=False, min_value=0)


def _look(request: SignedInRequest, station: Station) -> Look | None:
    """None: the user is no checker, or there is no picture that may be shown."""
    if not Clinic.objects.checked_by(request.user).filter(pk=station.clinic_id).exists():
        return None
    handled = Recording.objects.handled_by(request.user).filter(station=station, state="ready")
    related = handled.select_related("station__clinic", "camera", "frame_table")
    rows = [row for row in related if original_is_there(row)]
    form = LookForm(request.GET)
    asked = form.cleaned_data if form.is_valid() else {}
    rows.sort(key=lambda row: row.pk != asked.get("recording"))  # the one asked for comes first
    for row in rows:
        frame = _visible_frame(row, asked.get("frame"), request.user)
        if frame is not None:
            return Look(row, frame, (row.frame_count or 1) - 1, rows)
    return None


def _visible_frame(row: Recording, asked: int | None, user: User) -> int | None:
    """The frame asked for or the middle one; where nobody sees that, one that is seen."""
    try:
        table = frames_of(row)
    except (BadInput, MediaError, FileNotFoundError):
        return None
    if not pictures_open_to(row, user):
        return None
    hidden, last = Hidden(row), len(table) - 1
    wanted = min(asked, last) if asked is not None else last // 2
    tries = (wanted, 0, last // 4, last // 2, last * 3 // 4, last)
    return next((frame for frame in tries if table[frame] not in hidden), None)
