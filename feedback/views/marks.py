"""Marks in the room: what is placed, placing, taking away. Each posts without script; a script
asks for JSON and stays at its frame."""

from __future__ import annotations

import uuid
from typing import Any
from urllib.parse import urlencode

from django import forms
from django.http import HttpResponse, HttpResponseRedirect, JsonResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_POST

from clinics.models import Clip, Swim
from feedback.actions.frames import FrameUnknown
from feedback.actions.mark import place_mark, take_mark_away
from feedback.models import Mark
from feedback.views.coaching import coaches_here
from feedback.views.mark_list import KEYED, flags_of, marks_of
from feedback.views.measures_guide import guides_of
from feedback.views.room_data import StationView, opening, views_of
from portal.models import User
from portal.requests import SignedInRequest

NOT_ACCEPTABLE = 422


class MarkForm(forms.Form):
    """Which event, on which frame of which view. No time: that is looked up."""

    clip = forms.ModelChoiceField(
        Clip.objects.none(),
        error_messages={
            "required": _("It is not clear which picture this mark is for. Open the swim again."),
            "invalid_choice": _("That view is no longer there. Open the swim again."),
        },
    )
    frame = forms.IntegerField(
        min_value=0,
        error_messages={
            "required": _("It is not clear which picture this mark is for. Stop at a frame first."),
        },
    )
    kind = forms.ChoiceField(
        choices=Mark.Kind,
        error_messages={
            "required": _("Say which event this is."),
            "invalid_choice": _("That is none of the events that can be marked."),
        },
    )
    distance_m = forms.FloatField(
        required=False,
        min_value=0.5,
        max_value=1500,
        error_messages={"invalid": _("The distance is a number of metres, such as 15.")},
    )

    def __init__(self, *args: Any, swim: Swim, user: User) -> None:
        super().__init__(*args)
        clips = Clip.objects.visible_to(user).filter(swim=swim).select_related("recording")
        self.fields["clip"].queryset = clips  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        told = super().clean() or {}
        clip, frame = told.get("clip"), told.get("frame")
        if clip is not None and frame is not None and frame >= clip.frame_count:
            self.add_error(
                "frame",
                _("This view has %(count)d frames; choose one of them.")
                % {"count": clip.frame_count},
            )
        at_distance = told.get("kind") == Mark.Kind.HEAD_AT_DISTANCE
        if at_distance and told.get("distance_m") is None and "distance_m" not in self.errors:
            self.add_error("distance_m", _("Say at which distance the head is, in metres."))
        if not at_distance:
            told["distance_m"] = None
        return told

    def sentences(self) -> list[str]:
        return [str(said) for errors in self.errors.values() for said in errors]


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
    try:
        place_mark(swim=swim, by=request.user, **told)
    except FrameUnknown:
        gone = _("The list of this recording's frames is gone: nothing can be marked in it.")
        return _refused(request, swim, [str(gone)])
    return _answer(request, swim, {"view": told["clip"].pk, "at": told["frame"]})


@require_POST
def take_away(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """One's own, while one coaches the swim."""
    mine = Mark.objects.visible_to(request.user).filter(placed_by=request.user)
    placed = get_object_or_404(mine, pk=pk)
    swim = _coached(request, placed.swim_id)
    placed.swim = swim
    take_mark_away(mark=placed, by=request.user)
    return _answer(request, swim, {})
