"""The day board: where the clinic stands, who is next, which station and which phone is well.

It renews itself in two parts, so that what is typed below them stays: the lane every few seconds,
stations and phones less often, since clocks are fitted anew for them."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any

from django import forms
from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_POST, require_safe

from clinics.actions.day_board import (
    phones_now,
    say_station,
    say_wish,
    stations_now,
    wishes_of,
)
from clinics.actions.errors import BadInput
from clinics.actions.log_conflicts import conflicts_of
from clinics.actions.pool_hour import planned
from clinics.actions.pool_hour_day import day_of
from clinics.models import Clinic, DayWish, StationWord
from clinics.views.day_board_told import board_of, phone_told, rolling, station_told
from clinics.views.plan_places import plan_places
from clinics.views.words import in_words, said
from portal.requests import SignedInRequest

PARTS = {"lane": "clinics/day_board_lane.html", "kit": "clinics/day_board_kit.html"}


class WishForm(forms.Form):
    """`ready`: the time of day at the pool; `gone`: it is taken back."""

    number = forms.IntegerField(min_value=1)
    kind = forms.ChoiceField(choices=DayWish.Kind.choices)
    ready = forms.TimeField(
        required=False,
        error_messages={"invalid": gettext_lazy("Say a time of day, as 10:45.")},
    )
    gone = forms.BooleanField(required=False)


class StationWordForm(forms.Form):
    station = forms.UUIDField()
    state = forms.ChoiceField(choices=StationWord.State.choices)


def _clinic(request: SignedInRequest, pk: uuid.UUID) -> Clinic:
    return get_object_or_404(Clinic.objects.visible_to(request.user).select_related("club"), pk=pk)


def _works(request: SignedInRequest, clinic: Clinic) -> bool:
    return Clinic.objects.worked_by(request.user).filter(pk=clinic.pk).exists()


@require_safe
def day_board(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """`?part=` gives one part alone, `?at=10:45` looks back at the day as it stood then."""
    clinic = _clinic(request, pk)
    part, at = request.GET.get("part", ""), _asked(clinic, request.GET.get("at", ""))
    context: dict[str, Any] = {"clinic": clinic, "look_back": at is not None}
    if part != "kit":
        context |= _lane(clinic, at)
    if part != "lane":
        context |= _kit(clinic, at) | {"works": at is None and _works(request, clinic)}
    if part not in PARTS:
        context |= _whole(clinic)
    with timezone.override(clinic.zone):
        response = render(request, PARTS.get(part, "clinics/day_board.html"), context)
    response["Cache-Control"] = "no-store"
    return response


def _asked(clinic: Clinic, text: str) -> dt.datetime | None:
    """A time of day on the clinic's day."""
    try:
        at = dt.time.fromisoformat(text)
    except ValueError:
        return None
    return dt.datetime.combine(clinic.date, at.replace(tzinfo=None), tzinfo=clinic.zone)


def _lane(clinic: Clinic, at: dt.datetime | None) -> dict[str, Any]:
    now = at or timezone.now()
    plan = planned(clinic)
    found = day_of(clinic, now, plan, look_back=at is not None)
    board = board_of(found, now, look_back=at is not None) if found else None
    return {"board": board, "plan": plan}


def _kit(clinic: Clinic, at: dt.datetime | None) -> dict[str, Any]:
    now = timezone.now()
    stations = stations_now(clinic, at)
    return {
        "stations": [station_told(one) for one in stations],
        "rolling": rolling(stations),
        "states": StationWord.State,
        "phones": [phone_told(one, now) for one in phones_now(clinic, now)],
        "conflicts": [(one.settled, said(one.words)) for one in conflicts_of(clinic)],
        "kit_at": now,
    }


def _whole(clinic: Clinic) -> dict[str, Any]:
    return {
        "entries": clinic.entries.select_related("swimmer").order_by("number"),
        "wishes": wishes_of(clinic),
        "late": DayWish.Kind.LATE,
        "closed": clinic.state == Clinic.State.CLOSED,
        "places_of_plan": plan_places(clinic, "day-board"),
    }


# --- what is said on it -----------------------------------------------------------------------


@require_POST
def wish(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """Somebody comes late or wishes a second go: coach, admin and crew may say so."""
    clinic = _clinic(request, pk)
    form = WishForm(request.POST)
    if not form.is_valid():
        return _back(request, clinic, [str(one) for each in form.errors.values() for one in each])
    told, from_at = form.cleaned_data, None
    if told["ready"] is not None:
        from_at = dt.datetime.combine(clinic.date, told["ready"], tzinfo=clinic.zone)
    try:
        say_wish(
            clinic=clinic,
            number=told["number"],
            kind=told["kind"],
            from_at=from_at,
            gone=told["gone"],
            by=request.user,
        )
    except BadInput as bad:
        return _back(request, clinic, in_words(bad).lines())
    return _back(request, clinic, [])


@require_POST
def station_word(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    clinic = _clinic(request, pk)
    if not _works(request, clinic):
        raise Http404
    form = StationWordForm(request.POST)
    if not form.is_valid():
        return _back(request, clinic, [_("Choose a station, and what is to be said of it.")])
    try:
        say_station(clinic=clinic, by=request.user, **form.cleaned_data)
    except BadInput as bad:
        return _back(request, clinic, in_words(bad).lines())
    if request.htmx:  # type: ignore[attr-defined]
        with timezone.override(clinic.zone):
            context = {"clinic": clinic, "works": True, **_kit(clinic, None)}
            return render(request, PARTS["kit"], context)
    return _back(request, clinic, [], "#day-kit")


def _back(
    request: SignedInRequest, clinic: Clinic, wrong: list[str], place: str = "#wishes"
) -> HttpResponse:
    for sentence in wrong:
        messages.error(request, sentence)
    return redirect(reverse("clinics:day-board", args=[clinic.pk]) + place)
