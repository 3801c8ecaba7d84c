"""The stroke rate as read from the picture: asking, following, taking away. For coaches only."""

from __future__ import annotations

import uuid
from typing import Any

from django.http import HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from clinics.models import Swim
from feedback.actions.frames import FrameUnknown
from feedback.actions.rate_read import TooManyWaiting, ask_rate, remove_rate
from feedback.models import RateReading
from feedback.rate_read_form import STROKES, RateReadForm
from feedback.views.coaching import coaches_here
from feedback.views.rate_read_list import readings_of
from feedback.views.room_data import StationView, opening, views_of
from portal.requests import SignedInRequest

NOT_ACCEPTABLE = 422


def rate_part(request: SignedInRequest, swim: Swim, views: list[StationView]) -> dict[str, Any]:
    """Nothing for whoever does not coach the swim, the swimmer among them."""
    if not coaches_here(request, swim):
        return {}
    return {
        "rate_reading": True,
        "rate_at": opening(swim, views, request.GET),
        "rate_strokes": STROKES,
        "rate_readings": readings_of(swim, request.user, views),
    }


def _coached(request: SignedInRequest, pk: uuid.UUID) -> Swim:
    """Hidden and absent alike: 404."""
    swims = Swim.objects.coached_by(request.user)
    return get_object_or_404(swims.select_related("entry__swimmer", "entry__clinic__club"), pk=pk)


def _listed(
    request: SignedInRequest, swim: Swim, *, wrong: list[str] | None = None
) -> HttpResponse:
    """The list: alone for a script, else as a page."""
    alone = bool(request.htmx)  # type: ignore[attr-defined]
    page = "feedback/_rate_read_list.html" if alone else "feedback/rate_read.html"
    views = views_of(swim, request.user)
    told = {"swim": swim, "rate_readings": readings_of(swim, request.user, views)}
    told["wrong"] = wrong or []
    return render(request, page, told, status=NOT_ACCEPTABLE if wrong else 200)


@require_http_methods(["GET", "HEAD", "POST"])
def rate_read(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """What was read of a swim; a POST asks for more."""
    swim = _coached(request, pk)
    if request.method != "POST":
        return _listed(request, swim)
    form = RateReadForm(request.POST, swim=swim, user=request.user)
    if not form.is_valid():
        return _listed(request, swim, wrong=form.sentences())
    told = form.cleaned_data
    try:
        ask_rate(
            swim=swim,
            by=request.user,
            clip=told["clip"],
            span=told["span"],
            stroke=told["stroke"],
        )
    except FrameUnknown:
        gone = _("The list of this view's frames is gone: nothing can be read from it.")
        return _listed(request, swim, wrong=[gone])
    except TooManyWaiting:
        many = _("Several of yours are being read already. Wait until one is ready.")
        return _listed(request, swim, wrong=[many])
    return _go_on(request, swim)


def _go_on(request: SignedInRequest, swim: Swim) -> HttpResponse:
    if request.htmx:  # type: ignore[attr-defined]
        return _listed(request, swim)
    return HttpResponseRedirect(reverse("feedback:rate-read", args=[swim.pk]))


@require_POST
def rate_read_remove(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """One's own."""
    mine = RateReading.objects.visible_to(request.user).filter(asked_by=request.user)
    row = get_object_or_404(mine, pk=pk)
    swim = _coached(request, row.swim_id)
    remove_rate(reading=row, by=request.user)
    return _go_on(request, swim)
