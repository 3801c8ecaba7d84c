"""The try-out of the day before: two starts tapped, a short file from each camera, judged in
minutes, gone within hours."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase, HttpResponseNotAllowed
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.csrf import csrf_exempt, csrf_protect
from django.views.decorators.http import require_POST, require_safe

from clinics.actions import try_out as acts
from clinics.actions.errors import BadInput
from clinics.actions.space import NoRoom, check_room
from clinics.models import Clinic, Station, TryOut, TryOutFile, TryOutStill
from clinics.privacy_try_out import clinics_tried_out_by
from clinics.views.form_to_disk import ReceivedFile, ToUploadsDisk
from clinics.views.plan_places import plan_places
from clinics.views.try_out_forms import BeginForm
from clinics.views.try_out_told import told_of
from clinics.views.who import me
from clinics.views.words import in_words
from portal.requests import SignedInRequest
from portal.views.serve_file import serve_file


def _clinic(request: HttpRequest, pk: uuid.UUID) -> Clinic:
    rows = clinics_tried_out_by(Clinic.objects.select_related("club"), me(request))
    found: Clinic = get_object_or_404(rows, pk=pk)
    return found


def _open(clinic: Clinic) -> TryOut:
    found = acts.open_try_out(clinic)
    if found is None:
        raise Http404
    return found


def try_out(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    clinic = _clinic(request, pk)
    if request.method not in ("GET", "HEAD", "POST"):
        return HttpResponseNotAllowed(["GET", "HEAD", "POST"])
    form = BeginForm(request.POST or None, swimmers=acts.may_swim(clinic))
    if request.method == "POST" and form.is_valid() and _begun(request, clinic, form):
        return redirect("clinics:try-out", pk=clinic.pk)
    with timezone.override(clinic.zone):
        told = {"clinic": clinic, "places_of_plan": plan_places(clinic, "try-out"), "form": form}
        status = 422 if request.method == "POST" else 200
        page = told | _page(request, clinic)
        return render(request, "clinics/try_out.html", page, status=status)


def _begun(request: HttpRequest, clinic: Clinic, form: BeginForm) -> bool:
    try:
        acts.begin(
            clinic=clinic,
            who=form.who(),
            attested=form.cleaned_data["attested"],
            by=me(request),
        )
    except BadInput as bad:
        for where, sentence in in_words(bad).errors:
            form.add_error(where if where in form.fields else None, sentence)
        return False
    return True


def _page(request: HttpRequest, clinic: Clinic) -> dict[str, Any]:
    row = clinic.try_outs.select_related("first_swimmer", "second_swimmer").first()
    running = row if row is not None and row.gone_at is None else None
    return {
        "running": running,
        "told": told_of(clinic, row, me(request)) if row else None,
        "kept_hours": int(acts.KEPT.total_seconds() // 3600),
        "most_bytes": acts.max_bytes(),
        "least_apart_s": int(acts.LEAST_APART_S),
        "closed": clinic.state == Clinic.State.CLOSED,
    }


@never_cache
@require_safe
def try_out_states(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """The stations' part of the page, to be put into it again while files are judged."""
    clinic = _clinic(request, pk)
    with timezone.override(clinic.zone):
        told = {"clinic": clinic} | _page(request, clinic)
        return render(request, "clinics/try_out_stations.html", told)


@require_POST
def try_out_start(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """A tap at a start signal. `instant_ms`: the phone's, on the server's clock; else now."""
    clinic = _clinic(request, pk)
    which = 2 if request.POST.get("which") == "2" else 1
    try:
        acts.tap(
            try_out=_open(clinic),
            which=which,
            at=_instant(request.POST.get("instant_ms", "")),
            by=me(request),
        )
    except BadInput as bad:
        _say(request, bad)
    return redirect("clinics:try-out", pk=clinic.pk)


def _instant(text: str) -> dt.datetime | None:
    try:
        return dt.datetime.fromtimestamp(float(text) / 1000, tz=dt.UTC)
    except (ValueError, OverflowError, OSError):
        return None


def _say(request: HttpRequest, bad: BadInput) -> None:
    for line in in_words(bad).lines():
        messages.error(request, line)


@csrf_exempt  # only until the station is known: `_take` below asks for the token
@require_POST
def try_out_bring(request: SignedInRequest, pk: uuid.UUID, station: uuid.UUID) -> HttpResponse:
    """A file of one camera. The body is read only after the fence was asked and there is room."""
    clinic = _clinic(request, pk)
    there = get_object_or_404(Station.objects.filter(clinic=clinic), pk=station)
    row = _open(clinic)
    length = request.META.get("CONTENT_LENGTH", "")
    if not length.isdigit() or int(length) > acts.max_bytes():
        messages.error(request, _("The file is larger than a try-out takes: film a minute or two."))
        return redirect("clinics:try-out", pk=clinic.pk)
    try:
        check_room(club=clinic.club, more_bytes=int(length))
    except NoRoom as full:
        messages.error(request, str(full))
        return redirect("clinics:try-out", pk=clinic.pk)
    handler = ToUploadsDisk(request)
    request.upload_handlers = [handler]
    try:
        return _take(request, row, there)
    finally:
        handler.clear()


@csrf_protect
def _take(request: SignedInRequest, row: TryOut, station: Station) -> HttpResponse:
    received = request.FILES.get("file")
    if isinstance(received, ReceivedFile) and received.size:
        try:
            acts.bring(
                try_out=row,
                station=station,
                path=received.path,
                name=str(received.name),
                by=request.user,
            )
        except BadInput as bad:
            _say(request, bad)
    else:
        messages.error(request, _("Nothing came: choose a file, then send it again."))
    return redirect("clinics:try-out", pk=row.clinic_id)


@require_POST
def try_out_frame(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """What somebody says of the frame, who saw the stills."""
    rows = TryOutFile.objects.visible_to(me(request)).select_related("try_out__clinic")
    file = get_object_or_404(rows, pk=pk)
    frame = request.POST.get("frame", "")
    if frame in TryOutFile.Frame.values:
        try:
            acts.say_of_frame(file=file, frame=frame, by=me(request))
        except BadInput as bad:
            _say(request, bad)
    return redirect("clinics:try-out", pk=file.try_out.clinic_id)


def try_out_still(request: HttpRequest, pk: uuid.UUID) -> HttpResponseBase:
    seen = TryOutFile.objects.visible_to(me(request)).values("pk")
    still = get_object_or_404(TryOutStill.objects.select_related("stored"), pk=pk, file__in=seen)
    return serve_file(request, still.stored)


@require_POST
def try_out_end(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    clinic = _clinic(request, pk)
    try:
        gone = acts.end(try_out=_open(clinic), by=me(request))
    except BadInput as bad:
        _say(request, bad)
    else:
        told = _("Deleted: %(files)d files and stills, and the two names.")
        messages.success(request, told % {"files": gone.files})
    return redirect("clinics:try-out", pk=clinic.pk)
