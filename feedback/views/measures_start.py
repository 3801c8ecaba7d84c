"""What a swim's times count from: a start signal that was marked, or the start as found."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Sequence
from typing import Any

from django.http import HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_POST

from clinics.actions.errors import BadInput
from clinics.models import ChosenStart, Swim
from clinics.views.words import in_words
from feedback.actions.start_mark import count_from_found, count_from_mark
from feedback.models import Mark
from feedback.views.mark_list import PlacedMark
from feedback.views.measures_words import AS
from portal.requests import SignedInRequest

NOT_ACCEPTABLE = 422
_WITH_IT = ("entry__swimmer", "entry__clinic__club")


def start_part(swim: Swim, placed: Sequence[PlacedMark]) -> dict[str, Any]:
    """For a coach: what else this swim could count from."""
    chosen = ChosenStart.objects.filter(swim=swim).first()
    signals = [one for one in placed if one.mark.kind == Mark.Kind.START_SIGNAL]
    return {
        "start_marks": [one for one in signals if one.at_s is not None],
        "start_as_found": AS[Swim.StartKind(chosen.found_kind)] if chosen else None,
    }


@require_POST
def from_mark(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    marks = Mark.objects.visible_to(request.user).select_related("recording")
    mark = get_object_or_404(marks, pk=pk)
    mark.swim = _coached(request, mark.swim_id)
    return _done(request, mark.swim, lambda: count_from_mark(mark=mark, by=request.user))


@require_POST
def from_found(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    swim = _coached(request, pk)
    return _done(request, swim, lambda: count_from_found(swim=swim, by=request.user))


def _coached(request: SignedInRequest, pk: uuid.UUID) -> Swim:
    swims = Swim.objects.coached_by(request.user).select_related(*_WITH_IT)
    return get_object_or_404(swims, pk=pk)


def _done(request: SignedInRequest, swim: Swim, act: Callable[[], Swim]) -> HttpResponse:
    from feedback.views.swim import page_of  # it asks this module for its part of the page

    try:
        act()
    except BadInput as bad:
        sentences = [sentence for _where, sentence in in_words(bad).errors]
        page = {**page_of(request, swim, None), "mark_errors": sentences}
        return render(request, "feedback/swim.html", page, status=NOT_ACCEPTABLE)
    return HttpResponseRedirect(f"{reverse('feedback:swim', args=[swim.pk])}#measures")
