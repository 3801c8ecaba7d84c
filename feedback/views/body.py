"""Points of the body on frames: angles and the centre of mass. A script sends all points of a
frame after each one and gets back what they tell; lists and taking away work without one."""

from __future__ import annotations

import uuid
from typing import Any

from django.http import HttpResponse, HttpResponseRedirect, JsonResponse
from django.shortcuts import get_object_or_404, render
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_POST

from clinics.models import Swim
from feedback.actions.body import choose_body_table, set_body_points, take_body_points_away
from feedback.actions.frames import FrameUnknown
from feedback.compute.measuring.body.points import LINES, For, needed
from feedback.compute.measuring.body.tables import Side
from feedback.models import BodyPoints
from feedback.views.body_form import BodyForm, TableForm
from feedback.views.body_list import TURNS, ShownBody, bodies_shown
from feedback.views.body_ways import ShownWay, ways_shown
from feedback.views.body_words import SETS, setup_names
from feedback.views.coaching import coaches_here
from feedback.views.room_data import StationView, views_of
from portal.requests import SignedInRequest

NOT_ACCEPTABLE = 422


def body_part(request: SignedInRequest, swim: Swim, views: list[StationView]) -> dict[str, Any]:
    """`body_setup` is what the script needs to ask for one point after another."""
    setting = coaches_here(request, swim)
    shown = bodies_shown(swim, request.user, views)
    ways = ways_shown(shown)
    mine = next((one.row.table for one in shown if one.mine), BodyPoints.Table.MEAN)
    return {
        **_listed(shown, ways, setting=setting),
        "body_sets": [(what.value, label) for what, label in SETS.items()],
        "body_tables": BodyPoints.Table.choices,
        "body_table": mine,
        "body_setup": _setup(ways, setting=setting),
        "bodies_for_script": [one.for_script() for one in shown],
    }


def _listed(shown: list[ShownBody], ways: list[ShownWay], *, setting: bool) -> dict[str, Any]:
    return {"bodies": shown, "body_ways": ways, "body_turns": TURNS, "body_setting": setting}


def _setup(ways: list[ShownWay], *, setting: bool) -> dict[str, Any]:
    sets = {
        what.value: {side.value: needed(what, side) for side in Side} for what in For if setting
    }
    names = setup_names() if setting else {}
    return {"lines": LINES, "sets": sets, "names": names, "ways": _for_script(ways)}


def _for_script(ways: list[ShownWay]) -> list[dict[str, Any]]:
    return [told for told in (way.for_script() for way in ways) if told is not None]


def _answer(request: SignedInRequest, swim: Swim) -> HttpResponse:
    """All points anew and what they tell, or the page."""
    if not _wants_json(request):
        return HttpResponseRedirect(f"{reverse('feedback:swim', args=[swim.pk])}#body")
    shown = bodies_shown(swim, request.user, views_of(swim, request.user))
    ways = ways_shown(shown)
    told = {"swim": swim, **_listed(shown, ways, setting=True)}
    return JsonResponse(
        {
            "bodies": [one.for_script() for one in shown],
            "ways": _for_script(ways),
            "html": render_to_string("feedback/_body_list.html", told, request),
        }
    )


def _wants_json(request: SignedInRequest) -> bool:
    return "application/json" in request.headers.get("Accept", "")


def _refused(request: SignedInRequest, swim: Swim, sentences: list[str]) -> HttpResponse:
    if _wants_json(request):
        return JsonResponse({"errors": sentences}, status=NOT_ACCEPTABLE)
    from feedback.views.swim import page_of  # it asks this module for its part of the page

    page = {**page_of(request, swim, None), "body_errors": sentences}
    return render(request, "feedback/swim.html", page, status=NOT_ACCEPTABLE)


def _coached(request: SignedInRequest, pk: uuid.UUID) -> Swim:
    swims = Swim.objects.coached_by(request.user)
    return get_object_or_404(swims.select_related("entry__swimmer", "entry__clinic__club"), pk=pk)


@require_POST
def body(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    swim = _coached(request, pk)
    views = views_of(swim, request.user)
    form = BodyForm(request.POST, swim=swim, user=request.user, views=views)
    if not form.is_valid():
        return _refused(request, swim, form.sentences())
    try:
        set_body_points(swim=swim, by=request.user, **form.cleaned_data)
    except FrameUnknown:
        gone = _("The list of this recording's frames is gone: no points can be set in it.")
        return _refused(request, swim, [str(gone)])
    return _answer(request, swim)


@require_POST
def table(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    swim = _coached(request, pk)
    form = TableForm(request.POST)
    if not form.is_valid():
        return _refused(request, swim, form.sentences())
    choose_body_table(swim=swim, by=request.user, table=form.cleaned_data["table"])
    return _answer(request, swim)


@require_POST
def take_away(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """One's own, while one coaches the swim."""
    mine = BodyPoints.objects.visible_to(request.user).filter(placed_by=request.user)
    placed = get_object_or_404(mine, pk=pk)
    swim = _coached(request, placed.swim_id)
    placed.swim = swim
    take_body_points_away(body=placed, by=request.user)
    return _answer(request, swim)
