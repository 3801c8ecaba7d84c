"""Marks in the room: what is placed, placing, taking away. Each posts without script; a script
asks for JSON and stays at its frame."""

from __future__ import annotations

import uuid
from typing import Any
from urllib.parse import urlencode

from django.http import HttpResponse, HttpResponseRedirect, JsonResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from clinics.models import Swim
from feedback.actions.frames import FrameUnknown
from feedback.actions.mark import place_mark, take_mark_away
from feedback.models import Mark
from feedback.views.coaching import coaches_here
from feedback.views.mark_form import AT_A_DISTANCE, MarkForm
from feedback.views.mark_list import KEYED, flags_of, marks_of
from feedback.views.measures_guide import guides_of
from feedback.views.room_data import StationView, opening, views_of
from portal.requests import SignedInRequest

NOT_ACCEPTABLE = 422


def marks_part(request: SignedInRequest, swim: Swim, views: list[StationView]) -> dict[str, Any]:
    """`marks_for_script` is what the list is made of; the first kinds have a key each; `flags`
    stand on the strip."""
    placed = marks_of(swim, request.user, views)
    opened = opening(swim, views, request.GET)
    kinds = [(kind.value, kind.label) for kind in KEYED]
    others = [(kind.value, kind.label) for kind in Mark.Kind if kind not in KEYED]
    marking = coaches_here(request, swim)
    guides = guides_of(swim, [one.mark for one in placed], request.user) if marking else None
    return {
        "marks": placed,
        "flags": flags_of(placed),
        "marks_for_script": [mark.for_script() for mark in placed],
        "mark_kinds": kinds,
        "mark_others": [one for one in others if one[0] != Mark.Kind.HEAD_AT_DISTANCE],
        "mark_distances": [
            (kind.value, label, kind.label) for kind, label in AT_A_DISTANCE.items()
        ],
        "mark_at": opened if opened and opened.asked else None,
        "guides_for_script": guides,
        "marking": marking,
    }


def _wants_json(request: SignedInRequest) -> bool:
    return "application/json" in request.headers.get("Accept", "")


def _answer(request: SignedInRequest, swim: Swim, place: dict[str, Any]) -> HttpResponse:
    """All marks anew and what to mark next, or the page at the frame."""
    if _wants_json(request):
        placed = marks_of(swim, request.user, views_of(swim, request.user))
        guides = guides_of(swim, [one.mark for one in placed], request.user)
        marks = [mark.for_script() for mark in placed]
        return JsonResponse({"marks": marks, "guides": guides})
    query = f"?{urlencode(place)}" if place else ""
    return HttpResponseRedirect(f"{reverse('feedback:swim', args=[swim.pk])}{query}#marks")


def _refused(request: SignedInRequest, swim: Swim, sentences: list[str]) -> HttpResponse:
    if _wants_json(request):
        return JsonResponse({"errors": sentences}, status=NOT_ACCEPTABLE)
    from feedback.views.swim import page_of  # it asks this module for its part of the page

    page = {**page_of(request, swim, None), "mark_errors": sentences}
    return render(request, "feedback/swim.html", page, status=NOT_ACCEPTABLE)


def _coached(request: SignedInRequest, pk: uuid.UUID) -> Swim:
    swims = Swim.objects.coached_by(request.user)
    return get_object_or_404(swims.select_related("entry__swimmer", "entry__clinic__club"), pk=pk)


@require_POST
def mark(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    swim = _coached(request, pk)
    form = MarkForm(request.POST, swim=swim, user=request.user)
    if not form.is_valid():
        return _refused(request, swim, form.sentences())
    told = form.cleaned_data
    clip, frame, kind = (told[name] for name in ("clip", "frame", "kind"))
    try:
        place_mark(swim=swim, by=request.user, clip=clip, frame=frame, kind=kind, **form.placed())
    except FrameUnknown:
        gone = _("The list of this recording's frames is gone: nothing can be marked in it.")
        return _refused(request, swim, [str(gone)])
    return _answer(request, swim, {"view": clip.pk, "at": frame})


@require_POST
def take_away(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """One's own, while one coaches the swim."""
    mine = Mark.objects.visible_to(request.user).filter(placed_by=request.user)
    placed = get_object_or_404(mine, pk=pk)
    swim = _coached(request, placed.swim_id)
    placed.swim = swim
    take_mark_away(mark=placed, by=request.user)
    return _answer(request, swim, {})
