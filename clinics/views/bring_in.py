"""The bring-in page: stations as cards, what is on its way, what is in."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.contrib import messages
from django.http import HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.csrf import csrf_exempt, csrf_protect
from django.views.decorators.http import require_POST, require_safe

from clinics.actions import upload_cards, upload_ends, uploads
from clinics.actions.space import NoRoom, check_room
from clinics.models import Clinic, Station, Upload
from clinics.views.bring_in_lines import is_busy, lines_of
from clinics.views.form_to_disk import ReceivedFile, ToUploadsDisk
from portal.requests import SignedInRequest


@require_safe
def bring_in(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """The page. Whoever does not work at the clinic finds nothing here."""
    clinic = get_object_or_404(Clinic.objects.worked_by(request.user), pk=pk)
    lines = lines_of(clinic, request.user)
    context = {"clinic": clinic, "lines": lines, "busy": is_busy(lines)}
    return render(request, "clinics/bring_in.html", context)


@require_safe
def states(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """What is on its way and what is in, to be put into the page again."""
    clinic = get_object_or_404(Clinic.objects.worked_by(request.user), pk=pk)
    lines = lines_of(clinic, request.user)
    context = {"lines": lines, "busy": is_busy(lines)}
    response = render(request, "clinics/bring_in_states.html", context)
    response["Cache-Control"] = "no-store"
    return response


# --- uploads of one station ----------------------------------------------------------------------


def _worked_station(request: SignedInRequest, pk: uuid.UUID) -> Station:
    mine = Clinic.objects.worked_by(request.user)
    stations = Station.objects.select_related("clinic__club").filter(clinic__in=mine.values("pk"))
    return get_object_or_404(stations, pk=pk)


@require_safe
def station_uploads(request: SignedInRequest, pk: uuid.UUID) -> JsonResponse:
    """What this person has sent to the station before: dropped again, it goes on from there."""
    station = _worked_station(request, pk)
    known = Upload.objects.owned_by(request.user).filter(station=station)
    gone = [Upload.State.ENDED, Upload.State.REFUSED]
    rows = [row for row in known.exclude(state__in=gone) if not upload_ends.is_gone(row)]
    told = [
        {
            "id": str(row.pk),
            "url": reverse("clinics:upload", args=[row.pk]),
            "name": row.name,
            "size": row.size_bytes,
            "modified": round(row.modified_at.timestamp() * 1000) if row.modified_at else None,
            "state": row.state,
            "card": str(row.card),
            "card_files": row.card_files,
        }
        for row in rows
    ]
    return JsonResponse({"uploads": told}, headers={"Cache-Control": "no-store"})


@csrf_exempt  # only until the station is known: `_take_form` below asks for the token
@require_POST
def upload_form(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """A plain form with files, for pages without script. The body is read only after the fence
    was asked and there is room; the token is asked for right after that."""
    station = _worked_station(request, pk)
    back = reverse("clinics:bring-in", args=[station.clinic_id])
    length = request.META.get("CONTENT_LENGTH", "")
    try:
        if not length.isdigit() or int(length) > settings.UPLOAD_MAX_BYTES:
            raise uploads.TooMuch
        check_room(club=station.clinic.club, more_bytes=int(length))
    except uploads.TooMuch:
        messages.error(request, _("The files are larger than may be sent at once."))
        return redirect(back)
    except NoRoom as full:
        messages.error(request, str(full))
        return redirect(back)
    handler = ToUploadsDisk(request)
    request.upload_handlers = [handler]
    try:
        return _take_form(request, station)
    finally:
        handler.clear()


@csrf_protect
def _take_form(request: SignedInRequest, station: Station) -> HttpResponse:
    files = request.FILES.getlist("files")
    received = [(one.path, str(one.name)) for one in files if isinstance(one, ReceivedFile)]
    if received:
        camera = request.POST.get("camera", "").replace("\0", "")
        uploads.take_over(station=station, received=received, camera_name=camera, by=request.user)
        messages.success(request, _("Here. Now it is taken in."))
    else:
        messages.error(request, _("Nothing came: choose a file, then send it again."))
    return redirect(reverse("clinics:bring-in", args=[station.clinic_id]))


def _own_upload(request: SignedInRequest, pk: uuid.UUID) -> Upload:
    mine = Upload.objects.owned_by(request.user).select_related("station__clinic__club")
    clinics = Clinic.objects.worked_by(request.user)
    return get_object_or_404(mine, pk=pk, station__clinic__in=clinics.values("pk"))


@require_POST
def take_in_now(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """Take in what has come of a card although more was announced."""
    upload = _own_upload(request, pk)
    upload_cards.ask_to_take_in(upload=upload)
    return redirect(reverse("clinics:bring-in", args=[upload.station.clinic_id]))


@require_POST
def give_up(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """End an unfinished upload, or put away one that was refused."""
    upload = _own_upload(request, pk)
    upload_ends.end(upload=upload, by=request.user)
    return redirect(reverse("clinics:bring-in", args=[upload.station.clinic_id]))
