"""Drawings in the room: what is drawn, drawing, moving, how long one stands, rubbing out."""

from __future__ import annotations

import uuid
from typing import Any

from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpResponse, HttpResponseRedirect, JsonResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from clinics.models import Swim
from feedback.actions import draw as acts
from feedback.actions.frames import FrameUnknown
from feedback.compute.drawing import PointsWrong
from feedback.drawing_form import DrawForm, MoveForm, StandForm, fault_words
from feedback.models import Drawing
from feedback.privacy import is_own
from feedback.views.coaching import coaches_here
from feedback.views.drawn_list import drawings_of, drawn_of
from feedback.views.room_data import StationView, views_of
from portal.requests import SignedInRequest

NOT_ACCEPTABLE = 422


def drawing_part(request: SignedInRequest, swim: Swim, views: list[StationView]) -> dict[str, Any]:
    """`drawings` for the list, the same `drawings_for_script`, and whether this viewer draws."""
    drawn = drawings_of(swim, request.user, views)
    as_coach = not is_own(request.user, swim) and coaches_here(request, swim)
    return {
        "drawings": drawn,
        "drawings_for_script": [one.for_script() for one in drawn],
        "drawing": as_coach or is_own(request.user, swim),
        "drawing_for_coaches": as_coach,
        "drawing_colours": Drawing.Colour.choices,
    }


def _drawable(request: SignedInRequest, pk: uuid.UUID) -> Swim:
    """The coaches and the swimmer draw; hidden and absent alike: 404."""
    swims = Swim.objects.reviewed_by(request.user)
    swim = get_object_or_404(swims.select_related("entry__swimmer", "entry__clinic__club"), pk=pk)
    if not is_own(request.user, swim) and not coaches_here(request, swim):
        raise Http404
    return swim


def _own(request: SignedInRequest, pk: uuid.UUID) -> tuple[Drawing, Swim]:
    mine = Drawing.objects.visible_to(request.user).filter(author=request.user)
    drawing = get_object_or_404(mine, pk=pk)
    return drawing, _drawable(request, drawing.swim_id)


def _refused(errors: dict[str, list[str]]) -> HttpResponse:
    return JsonResponse({"errors": errors}, status=NOT_ACCEPTABLE)


def _frames_gone() -> str:
    return _("Frame: the list of this recording's frames is gone. Nothing can be drawn on it.")


@require_POST
def draw(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    swim = _drawable(request, pk)
    views = views_of(swim, request.user)
    form = DrawForm(request.POST, swim=swim, user=request.user, views=views)
    if not form.is_valid():
        return _refused(form.sentences())
    try:
        drawing = acts.draw(swim=swim, by=request.user, **form.told())
    except FrameUnknown:
        return _refused({"frame": [_frames_gone()]})
    except PermissionDenied:
        raise Http404 from None
    drawn = drawn_of(swim, request.user, drawing, views)
    return JsonResponse({"drawing": drawn.for_script()}, status=201)


@require_POST
def move(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    drawing, swim = _own(request, pk)
    form = MoveForm(request.POST)
    if not form.is_valid():
        return _refused(form.sentences())
    try:
        moved = acts.move(drawing=drawing, by=request.user, points=form.cleaned_data["points"])
    except PointsWrong as wrong:
        return _refused({"points": [fault_words(wrong.fault)]})
    drawn = drawn_of(swim, request.user, moved, views_of(swim, request.user))
    return JsonResponse({"drawing": drawn.for_script()})


@require_POST
def stand(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """How long it stands: until which frame."""
    drawing, swim = _own(request, pk)
    form = StandForm(request.POST, drawing=drawing, user=request.user)
    if not form.is_valid():
        return _refused(form.sentences())
    try:
        stands = acts.stand(drawing=drawing, by=request.user, **form.cleaned_data)
    except FrameUnknown:
        return _refused({"until_frame": [_frames_gone()]})
    drawn = drawn_of(swim, request.user, stands, views_of(swim, request.user))
    return JsonResponse({"drawing": drawn.for_script()})


@require_POST
def rub_out(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """A script stays where it is; without one the page opens anew."""
    drawing, swim = _own(request, pk)
    acts.rub_out(drawing=drawing, by=request.user)
    if "application/json" in request.headers.get("Accept", ""):
        return JsonResponse({"rubbed_out": str(pk)})
    return HttpResponseRedirect(f"{reverse('feedback:swim', args=[swim.pk])}#drawn")
