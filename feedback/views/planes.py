"""Metres in the picture: planes placed on the recordings of this swim, placing, taking away, and
where a point of the picture lies. Setting marks needs a script; taking away posts without."""

from __future__ import annotations

import uuid
from typing import Any

from django.http import Http404, HttpResponse, HttpResponseRedirect, JsonResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from clinics.compute.errors import BadInput
from clinics.models import Swim
from clinics.views.words import in_words
from feedback.actions.frames import FrameUnknown, pts_ticks_of
from feedback.actions.planes import held_planes
from feedback.actions.planes_place import (
    Span,
    draft_plane,
    moves,
    place_plane,
    take_plane_away,
    under_water,
)
from feedback.compute.measuring.plane_lines import apart
from feedback.compute.measuring.plane_marks import USUAL_CM
from feedback.models import PicturePlane
from feedback.views import planes_words as words
from feedback.views.coaching import coaches_here
from feedback.views.planes_form import SPANS, PlaneForm, ReadForm, walks_words
from feedback.views.planes_list import planes_of
from feedback.views.room_data import StationView, views_of
from portal.requests import SignedInRequest

NOT_ACCEPTABLE = 422
FLAGS_M = 5.0  # backstroke flags, from each wall (DSV 132)


def plane_part(request: SignedInRequest, swim: Swim, views: list[StationView]) -> dict[str, Any]:
    """`planes` for the list, the same `planes_for_script`, and what setting marks needs."""
    coaching = coaches_here(request, swim)
    planes = planes_of(swim, views, coaching=coaching)
    return {
        "planes": planes,
        "planes_for_script": [one.for_script() for one in planes],
        "plane_setting": coaching,
        "plane_script": _for_setting(swim, views) if coaching else None,
        "plane_whats": [(what.value, name, USUAL_CM[what]) for what, name in _names()],
        "plane_spans": [(span.value, name) for span, name in SPANS],
        "plane_lies": PicturePlane.Lies.choices,
        "plane_quick": _quick(swim.entry.clinic.course_m),
        "plane_walks": walks_words(),
    }


def _names() -> list[tuple[Any, Any]]:
    return list(words.WHAT_NAMES.items())


def _for_setting(swim: Swim, views: list[StationView]) -> dict[str, Any]:
    """By view: whether its camera moves, and whether it looks along under water."""
    its = {
        view.key: {"moves": moves(view.clip.station), "wet": under_water(view.clip.station)}
        for view in views
    }
    return {"views": its, "course_m": swim.entry.clinic.course_m}


def _quick(course_m: float) -> list[float]:
    """Distances that every pool has: its walls and its flags."""
    found = [0.0, FLAGS_M, course_m - FLAGS_M, course_m]
    return sorted({one for one in found if 0 <= one <= course_m})


def _swim(request: SignedInRequest, swims: Any, pk: uuid.UUID) -> Swim:
    return get_object_or_404(swims.select_related("entry__swimmer", "entry__clinic__club"), pk=pk)


def _coached(request: SignedInRequest, pk: uuid.UUID) -> Swim:
    return _swim(request, Swim.objects.coached_by(request.user), pk)


def _refused(sentences: list[str]) -> HttpResponse:
    return JsonResponse({"errors": sentences}, status=NOT_ACCEPTABLE)


def _cannot(sentences: list[str]) -> HttpResponse:
    """Nothing was to be saved, so nothing went wrong: it cannot be said, and why."""
    return JsonResponse({"errors": sentences})


def _answer(swim: Swim, views: list[StationView]) -> HttpResponse:
    planes = [one.for_script() for one in planes_of(swim, views, coaching=True)]
    return JsonResponse({"planes": planes})


@require_POST
def place(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """With `only_look` it says how the marks fit and what they would not hold for."""
    swim = _coached(request, pk)
    views = views_of(swim, request.user)
    form = PlaneForm(request.POST, swim=swim, views=views)
    refused = _cannot if "only_look" in request.POST else _refused
    if not form.is_valid():
        return refused(form.sentences())
    told = form.cleaned_data
    only_look = told.pop("only_look")
    try:
        draft = draft_plane(**{**told, "span": Span(told["span"])})
    except BadInput as bad:
        return refused(in_words(bad).lines())
    except FrameUnknown:
        gone = _("The list of this recording's frames is gone: no metres can be set in it.")
        return refused([gone])
    if only_look:
        said = words.caution_words(draft, told["clip"].station)
        return JsonResponse({"fit": words.fit_words(draft.plane), "cautions": said})
    place_plane(draft=draft, swim=swim, by=request.user)
    return _answer(swim, views)


@require_POST
def take_away(request: SignedInRequest, pk: uuid.UUID, plane: uuid.UUID) -> HttpResponse:
    """By whoever coaches a swim in whose pictures it holds. One that holds in other swims' alone
    is not there: 404."""
    swim = _coached(request, pk)
    views = views_of(swim, request.user)
    shown = {one.held.row.pk: one.held.row for one in planes_of(swim, views, coaching=True)}
    if plane not in shown:
        raise Http404
    take_plane_away(plane=shown[plane], swim=swim, by=request.user)
    if "application/json" in request.headers.get("Accept", ""):
        return _answer(swim, views)
    return HttpResponseRedirect(f"{reverse('feedback:swim', args=[swim.pk])}#planes")


@require_safe
def reading(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """Where a point lies, or how far two are apart; for who may read what is said of the swim."""
    swim = _swim(request, Swim.objects.reviewed_by(request.user), pk)
    form = ReadForm(request.GET, swim=swim, views=views_of(swim, request.user))
    if not form.is_valid():
        return _cannot(form.sentences())
    try:
        said = _read(form.cleaned_data, figures=coaches_here(request, swim))
    except BadInput as bad:
        return _cannot(in_words(bad).lines())
    except FrameUnknown:
        return _cannot([_("The list of this recording's frames is gone: nothing can be read.")])
    return JsonResponse({"said": said})


def _read(told: dict[str, Any], *, figures: bool) -> list[str]:
    clip = told["clip"]
    held = held_planes([clip.recording_id]).at(clip.recording_id, pts_ticks_of(clip, told["frame"]))
    if held is None:
        raise BadInput([("", _("No metres are set in this picture."))])
    spots = [held.spot(told["x"], told["y"], "one")]
    if told["x2"] is not None and told["y2"] is not None:
        spots.append(held.spot(told["x2"], told["y2"], "two"))
        said = [words.apart_words(apart(*spots), figures=figures)]
    else:
        said = [words.spot_words(held, spots[0], figures=figures)]
    return [one for one in (*said, words.outside_words(*spots)) if one]
