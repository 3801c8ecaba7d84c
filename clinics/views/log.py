"""The start log for a phone at the pool's edge; also takes in a log that was kept elsewhere."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpResponse, HttpResponseNotAllowed, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _

from clinics.actions.errors import BadInput
from clinics.actions.heard_starts import proposed_count
from clinics.actions.log import log_start, take_in_log, undo_start
from clinics.actions.log_order import GONE, order_of
from clinics.compute.log_file import TOO_CLOSE_S
from clinics.compute.time import to_epoch_ms
from clinics.models import Clinic, StartLogEntry
from clinics.views.forms import LogForm
from clinics.views.offline import camera_here
from clinics.views.words import in_words
from portal.requests import SignedInRequest

AHEAD = dt.timedelta(minutes=2)  # more than that in the future is a phone's clock set wrong
LINES_SHOWN = 8


class StartForm(forms.Form):
    """One line. Without `instant` (no script) it is the moment in which it arrives."""

    client_id = forms.RegexField(r"^[A-Za-z0-9-]{8,64}$")
    number = forms.IntegerField(min_value=1)
    outcome = forms.ChoiceField(choices=StartLogEntry.Outcome.choices)
    instant = forms.CharField(required=False, max_length=40)
    clock_run = forms.CharField(required=False, max_length=64)
    note = forms.CharField(required=False, max_length=400)

    def clean_instant(self) -> dt.datetime:
        text = self.cleaned_data["instant"]
        if not text:
            return timezone.now()
        try:
            instant = dt.datetime.fromisoformat(text)
        except ValueError:
            instant = None
        if instant is None or instant.tzinfo is None:
            raise forms.ValidationError(_("The instant must be ISO 8601 with its offset."))
        if instant > timezone.now() + AHEAD:
            raise forms.ValidationError(_("This phone's clock is ahead of the server's."))
        return instant


def _clinic(request: SignedInRequest, pk: uuid.UUID) -> Clinic:
    return get_object_or_404(Clinic.objects.worked_by(request.user).select_related("club"), pk=pk)


def _wants_json(request: SignedInRequest) -> bool:
    return "application/json" in request.headers.get("Accept", "")


@camera_here
def start_log(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    clinic = _clinic(request, pk)
    if request.method == "POST":
        return _log(request, clinic)
    if request.method not in ("GET", "HEAD"):
        return HttpResponseNotAllowed(["GET", "HEAD", "POST"])
    with timezone.override(clinic.zone):
        return render(request, "clinics/start_log.html", _page(clinic, request.GET.get("number")))


def _log(request: SignedInRequest, clinic: Clinic) -> HttpResponse:
    form = StartForm(request.POST)
    entry = None
    if form.is_valid():
        entry = clinic.entries.filter(number=form.cleaned_data["number"]).first()
        if entry is None:
            form.add_error("number", _("This number is not in the running order."))
    if entry is None:
        return _refused(request, clinic, [str(e) for es in form.errors.values() for e in es])
    said = form.cleaned_data
    try:
        line = log_start(
            clinic=clinic,
            client_id=said["client_id"],
            entry=entry,
            instant=said["instant"],
            outcome=said["outcome"],
            note=said["note"],
            clock_run=said["clock_run"] or "server",
            by=request.user,
        )
    except BadInput as bad:
        return _refused(request, clinic, in_words(bad).lines())
    if _wants_json(request):
        return JsonResponse({"client_id": line.client_id, "kept": True}, status=201)
    return redirect("clinics:start-log", pk=clinic.pk)


def _refused(request: SignedInRequest, clinic: Clinic, sentences: list[str]) -> HttpResponse:
    if _wants_json(request):
        return JsonResponse({"errors": sentences}, status=422)
    for sentence in sentences:
        messages.error(request, sentence)
    return redirect("clinics:start-log", pk=clinic.pk)


def undo(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    clinic = _clinic(request, pk)
    if request.method != "POST":
        return HttpResponseNotAllowed(["POST"])
    client_id = request.POST.get("client_id", "")[:64]
    try:
        line = undo_start(clinic=clinic, client_id=client_id, by=request.user)
    except BadInput as bad:
        return _refused(request, clinic, in_words(bad).lines())
    if _wants_json(request):
        return JsonResponse({"client_id": client_id, "undone": line is not None})
    return redirect("clinics:start-log", pk=clinic.pk)


def take_in(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """A log that was kept elsewhere, as CSV."""
    clinic = _clinic(request, pk)
    form = LogForm(request.POST or None, request.FILES or None)
    errors: list[tuple[str, str]] = []
    if request.method == "POST" and form.is_valid():
        try:
            taken = take_in_log(
                clinic=clinic,
                text=form.cleaned_data["log"],
                by=request.user,
                source=_("start log"),
            )
        except BadInput as bad:
            errors = in_words(bad).errors
        else:
            told = _("Taken in: %(added)s new lines, %(known)s were here already.")
            messages.success(request, told % {"added": taken.added, "known": taken.known})
            return redirect("clinics:start-log", pk=clinic.pk)
    context = {"clinic": clinic, "form": form, "errors": errors}
    status = 422 if request.method == "POST" else 200
    return render(request, "clinics/start_log_file.html", context, status=status)


def clock(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """The server's clock, so that a phone can say how far off its own is: when the question came
    in, and when the answer goes out. `now_ms` is for pages that ask for one time only."""
    received_ms = to_epoch_ms(timezone.now())
    _clinic(request, pk)
    if request.method not in ("GET", "HEAD"):
        return HttpResponseNotAllowed(["GET", "HEAD"])
    now_ms = to_epoch_ms(timezone.now())
    told = {"now_ms": now_ms, "received_ms": received_ms, "answered_ms": now_ms}
    return JsonResponse(told, headers={"Cache-Control": "no-store"})


# --- the page ------------------------------------------------------------------------------------


def _page(clinic: Clinic, asked_number: str | None) -> dict[str, Any]:
    lines = list(
        clinic.start_log.filter(undone_at__isnull=True)
        .select_related("entry__swimmer")
        .order_by("instant", "client_id")
    )
    now = timezone.now()
    order = order_of(clinic, lines, now)
    by_number = {entry.number: entry for entry in order.entries}
    asked = [one.number for one in order.entries if str(one.number) == asked_number]
    current = next((by_number[n] for n in [*asked, *order.next_up] if n in by_number), None)
    groups = order.lane_groups
    return {
        "clinic": clinic,
        "places": [],  # a wet thumb does not leave the log by chance
        "entries": order.entries,
        "logged": {line.entry_id for line in lines if line.outcome in GONE},
        "current": current,
        "group_no": groups.index(current.lane_group.name) + 1 if current else None,
        "group_count": len(groups),
        "lines": lines[: -LINES_SHOWN - 1 : -1],
        "client_id": str(uuid.uuid4()),
        "locked_s": int(TOO_CLOSE_S),
        "now": now,
        "heard": proposed_count(clinic),
    }
