"""Stills and films to take along: asking, following, fetching, taking away."""

from __future__ import annotations

import uuid
from typing import Any

from django.http import HttpRequest, HttpResponse, HttpResponseBase, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from clinics.models import Swim
from feedback.actions import take_along as acts
from feedback.actions.frames import FrameUnknown
from feedback.compute.take_along import FEWEST_STILLS, MOST_STILLS, RATES
from feedback.models import TakeAlong
from feedback.privacy import is_own
from feedback.take_along_form import TakeAlongForm
from feedback.views.coaching import coaches_here
from feedback.views.room_data import StationView, opening, views_of
from feedback.views.take_along_list import file_name, items_of
from portal.requests import SignedInRequest
from portal.views.serve_file import serve_file

NOT_ACCEPTABLE = 422


def take_along_part(
    request: SignedInRequest, swim: Swim, views: list[StationView]
) -> dict[str, Any]:
    """What was asked for already, and the frame that is on screen when the page opens."""
    return {
        "take_along": items_of(swim, request.user),
        "take_along_at": opening(swim, views, request.GET),
        "take_along_for_swimmer": _as_coach(request, swim),
        "take_along_counts": range(FEWEST_STILLS, MOST_STILLS + 1),
        "take_along_rates": list(RATES),
    }


def _as_coach(request: SignedInRequest, swim: Swim) -> bool:
    return not is_own(request.user, swim) and coaches_here(request, swim)


def _seen(request: SignedInRequest, pk: uuid.UUID) -> Swim:
    """Hidden and absent alike: 404."""
    swims = Swim.objects.reviewed_by(request.user)
    return get_object_or_404(swims.select_related("entry__swimmer", "entry__clinic__club"), pk=pk)


def _listed(
    request: SignedInRequest, swim: Swim, *, wrong: list[str] | None = None
) -> HttpResponse:
    """The list: alone for a script, else as a page."""
    alone = bool(request.htmx)  # type: ignore[attr-defined]
    page = "feedback/_take_along_list.html" if alone else "feedback/take_along.html"
    told = {"swim": swim, "take_along": items_of(swim, request.user), "wrong": wrong or []}
    return render(request, page, told, status=NOT_ACCEPTABLE if wrong else 200)


@require_http_methods(["GET", "HEAD", "POST"])
def take_along(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """What there is of a swim to take along; a POST asks for more."""
    swim = _seen(request, pk)
    if request.method != "POST":
        return _listed(request, swim)
    names = {view.key: view.name for view in views_of(swim, request.user)}
    coaching = _as_coach(request, swim)
    form = TakeAlongForm(request.POST, swim=swim, user=request.user, names=names, coaching=coaching)
    if not form.is_valid():
        return _listed(request, swim, wrong=form.sentences())
    told = form.cleaned_data
    try:
        acts.ask(swim=swim, by=request.user, spec=told["spec"], for_swimmer=told["for_swimmer"])
    except FrameUnknown:
        gone = _("The list of this view's frames is gone: nothing can be made of it.")
        return _listed(request, swim, wrong=[gone])
    except acts.TooManyWaiting:
        many = _("Several of yours are being made already. Wait until one is ready.")
        return _listed(request, swim, wrong=[many])
    return _go_on(request, swim)


def _go_on(request: SignedInRequest, swim: Swim) -> HttpResponse:
    if request.htmx:  # type: ignore[attr-defined]
        return _listed(request, swim)
    return HttpResponseRedirect(reverse("feedback:take-along", args=[swim.pk]))


@require_POST
def take_along_remove(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """One's own."""
    mine = TakeAlong.objects.visible_to(request.user).filter(asked_by=request.user)
    row = get_object_or_404(mine, pk=pk)
    swim = _seen(request, row.swim_id)
    acts.remove(take_along=row, by=request.user)
    return _go_on(request, swim)


def take_along_file(request: HttpRequest, pk: uuid.UUID) -> HttpResponseBase:
    """The file. The fence is asked on every request, and so on every byte range; it comes before
    the verb."""
    rows = TakeAlong.objects.visible_to(request.user)  # type: ignore[arg-type]
    rows = rows.filter(state=TakeAlong.State.READY).select_related(
        "stored", "swim__entry__swimmer", "swim__entry__clinic__club"
    )
    row = get_object_or_404(rows, pk=pk)
    assert row.stored is not None
    if request.method == "GET":
        whole = "Range" not in request.headers
        acts.note_download(take_along=row, by=request.user, whole=whole)  # type: ignore[arg-type]
    return serve_file(request, row.stored, download_name=file_name(row))
