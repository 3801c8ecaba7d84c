"""What the start log's page and its server tell each other: the log as it stands, and what a phone
has stored meanwhile. All of it JSON, nothing of it kept by a cache."""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from typing import Any

from django.core.exceptions import RequestDataTooBig
from django.http import Http404, HttpResponse, HttpResponseNotAllowed, JsonResponse
from django.middleware.csrf import get_token
from django.shortcuts import get_object_or_404
from django.utils import timezone
from django.utils.translation import gettext as _

from clinics.actions.errors import BadInput
from clinics.actions.log import ClinicClosed
from clinics.actions.log_conflicts import conflicts_of
from clinics.actions.log_order import Order, order_of
from clinics.actions.log_sync import Synced, take_in_sync
from clinics.compute.log_file import TOO_CLOSE_S
from clinics.compute.logged_starts import Conflict
from clinics.compute.phone_clock import UNKNOWN
from clinics.compute.phone_sync import TooMuch, read_body
from clinics.compute.time import to_epoch_ms
from clinics.models import Clinic, StartLogEntry, StationWord
from clinics.views.words import in_words, said
from portal.requests import SignedInRequest

NO_STORE = {"Cache-Control": "no-store"}


def _clinic(request: SignedInRequest, pk: uuid.UUID) -> Clinic:
    return get_object_or_404(Clinic.objects.worked_by(request.user).select_related("club"), pk=pk)


def start_log_state(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """The log as it stands; `?phone=KEY` tells which lines are that phone's own."""
    clinic = _clinic(request, pk)
    if request.method not in ("GET", "HEAD"):
        return HttpResponseNotAllowed(["GET", "HEAD"])
    lines = list(clinic.start_log.select_related("entry", "phone").order_by("instant", "client_id"))
    now = timezone.now()
    told = {
        "csrf": get_token(request),
        "now_ms": to_epoch_ms(now),
        "clinic": _clinic_told(clinic),
        "locked_s": int(TOO_CLOSE_S),
        **_order_told(order_of(clinic, lines, now), to_epoch_ms(now)),
        "stations": [
            {"id": str(one.pk), "name": one.name}
            for one in clinic.stations.order_by("order", "slug")
        ],
        "log": [_line_told(line, request.GET.get("phone", "")) for line in lines],
        "conflicts": _conflicts_told(conflicts_of(clinic, lines)),
        "words_of_stations": _words_told(clinic),
    }
    return JsonResponse(told, headers=NO_STORE)


def start_log_sync(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """Takes in what a phone has stored; any number of times, in any order."""
    clinic = _clinic(request, pk)
    if request.method != "POST":
        return HttpResponseNotAllowed(["POST"])
    try:
        done = take_in_sync(clinic=clinic, body=read_body(request.body), by=request.user)
    except RequestDataTooBig:
        return _refused(413, [_("This is too much at once. Send it in parts.")])
    except ClinicClosed:
        raise Http404 from None  # as the fence says from now on
    except BadInput as bad:
        return _refused(413 if isinstance(bad, TooMuch) else 400, in_words(bad).lines())
    told = {
        **_synced_told(done),
        "conflicts": _conflicts_told(conflicts_of(clinic)),
        "csrf": get_token(request),
    }
    return JsonResponse(told, headers=NO_STORE)


def _refused(status: int, sentences: list[str]) -> HttpResponse:
    return JsonResponse({"errors": sentences}, status=status, headers=NO_STORE)


# --- as it is told -------------------------------------------------------------------------------


def _clinic_told(clinic: Clinic) -> dict[str, Any]:
    return {
        "id": str(clinic.pk),
        "name": clinic.name,
        "zone": clinic.time_zone,
        "closed": clinic.state == Clinic.State.CLOSED,
        "course_m": clinic.course_m,
        "distance_m": clinic.distance_m,
    }


def _order_told(order: Order, now_ms: float) -> dict[str, Any]:
    """Nothing of a swimmer that the start log's page does not show."""
    groups = order.lane_groups
    entries = [
        {
            "number": entry.number,
            "name": entry.swimmer.name,
            "group": groups.index(entry.lane_group.name) + 1,
            "group_name": entry.lane_group.name,
            "how": f"{entry.get_stroke_display()}, {entry.get_start_display()}",
            "agrees": entry.agrees,  # type: ignore[attr-defined]
            "agrees_at_ms": now_ms,
        }
        for entry in order.entries
    ]
    return {"entries": entries, "next_up": order.next_up}


def _line_told(line: StartLogEntry, phone_key: str) -> dict[str, Any]:
    phone = line.phone
    return {
        "client_id": line.client_id,
        "number": line.entry.number if line.entry else None,
        "outcome": line.outcome,
        "note": line.note,
        "instant_ms": to_epoch_ms(line.instant),
        "u_ms": line.clock_u_ms,
        "clock": line.clock_state,
        "doubtful": line.clock_doubtful,
        "undone": line.undone_at is not None,
        "phone": phone.name if phone else "",
        "mine": phone is not None and phone.key == phone_key,
    }


def _conflicts_told(conflicts: Iterable[Conflict]) -> list[dict[str, Any]]:
    return [
        {
            "kind": one.kind,
            "client_ids": list(one.client_ids),
            "numbers": list(one.numbers),
            "words": said(one.words),
            "settled": one.settled,
        }
        for one in conflicts
    ]


def _words_told(clinic: Clinic) -> list[dict[str, Any]]:
    """The newest word on each station."""
    words = StationWord.objects.filter(station__clinic=clinic).order_by("at", "client_id")
    newest = {word.station_id: word for word in words}
    return [
        {"station": str(word.station_id), "state": word.state, "at_ms": to_epoch_ms(word.at)}
        for word in newest.values()
    ]


def _synced_told(done: Synced) -> dict[str, Any]:
    clock = done.clock
    return {
        "kept": list(dict.fromkeys(done.kept)),
        "refused": [
            {
                "list": one.kind,
                "client_id": one.client_id,
                "errors": [said(sentence) for sentence in one.errors],
            }
            for one in done.refused
        ],
        "phone": {
            "ahead_ms": clock.ahead_ms if clock else None,
            "u_ms": clock.u_ms if clock else None,
            "state": clock.state if clock else UNKNOWN,
        },
    }
