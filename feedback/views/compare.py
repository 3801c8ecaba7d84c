"""Two swims side by side, in step from a common mark. The fence is asked for both."""

from __future__ import annotations

import uuid
from typing import Any
from urllib.parse import urlencode

from django import forms
from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_safe

from clinics.actions.clip_files import open_swim
from clinics.models import Swim
from feedback.actions.comparable import before, others, same_person
from feedback.privacy import coaches
from feedback.views.compare_data import Comparison, comparison_of, side_of
from feedback.views.compare_words import (
    differences_in_words,
    doubts,
    lacking,
    mark_label,
    rests_on,
    whose,
)
from portal.requests import SignedInRequest


class OtherForm(forms.Form):
    """Whose swim to look for."""

    name = forms.CharField(label=_("Swimmer's name"), required=False, max_length=120)


def compare_part(request: SignedInRequest, swim: Swim) -> dict[str, Any]:
    """For `_compare_link.html`: last time's swim, if there is one to see."""
    return {"last_time": before(swim, request.user)}


@require_safe
def compare(
    request: SignedInRequest, pk: uuid.UUID, other: uuid.UUID | None = None
) -> HttpResponse:
    """Without another it opens beside last time's."""
    # It asks this module for its part of the page.
    from feedback.views.swim import stands_under_its_place, swim_for

    swim = swim_for(request, pk)
    stands_under_its_place(request, swim)
    beside = swim_for(request, other) if other else before(swim, request.user)
    form = OtherForm(request.GET)
    name = form.cleaned_data["name"] if form.is_valid() else ""
    page = {
        "swim": swim,
        "form": form,
        "named": name,
        "others": others(swim, request.user, name),
        "looking": bool(name),
    }
    if beside is not None and beside.pk != swim.pk:
        page |= _side_by_side(request, swim, beside)
    return render(request, "feedback/compare.html", page)


def _side_by_side(request: SignedInRequest, swim: Swim, beside: Swim) -> dict[str, Any]:
    """Of one person the earlier swim stands first, as time goes."""
    for one in (swim, beside):
        open_swim(swim=one)
    first, second = swim, beside
    if same_person(swim, beside) and beside.start_at < swim.start_at:
        first, second = beside, swim
    user = request.user
    compared = comparison_of(side_of(first, user), side_of(second, user), request.GET)
    return {
        "compared": compared,
        "beside": beside,
        "sides": _sides(compared),
        "marks": _marks(request, swim, beside, compared),
        "lacking": [(one, coaches(user, one.swim)) for one in lacking(compared)],
        "doubts": doubts(compared),
        "differences": differences_in_words(compared),
        "lane": compared.lane(),
        "for_script": compared.for_script(),
    }


def _sides(compared: Comparison) -> list[dict[str, Any]]:
    """For each swim: what it is called here, its views, the one on stage and where a plain
    player opens it."""
    one, other = compared.sides
    return [
        {
            "swim": side.swim,
            "whose": whose(side.swim, beside.swim),
            "views": side.views,
            "shown": compared.shown[n] if compared.shown else None,
            "opens_at_s": compared.opens_at_s(n),
            "at_s": compared.mark.at_s[n],
            "rests_on": rests_on(compared.mark, n, side.swim),
            "name": ("left", "right")[n],
        }
        for n, (side, beside) in enumerate(((one, other), (other, one)))
    ]


def _marks(
    request: SignedInRequest, swim: Swim, beside: Swim, compared: Comparison
) -> list[dict[str, Any]]:
    url = reverse("feedback:compare-with", args=[swim.pk, beside.pk])
    return [
        {
            "label": mark_label(mark),
            "url": f"{url}?{urlencode({'mark': mark.name})}",
            "chosen": mark == compared.mark,
        }
        for mark in compared.found.marks
    ]
