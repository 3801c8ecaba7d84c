"""A swimmer's progress over clinics: for the swimmer, and from a swim's page for its coaches."""

from __future__ import annotations

import uuid
from itertools import groupby
from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from clinics.models import Swim
from feedback.actions.progress import (
    NEWEST,
    Told,
    by_kind,
    measured_swims,
    own_swims,
    swims_of_same_person,
)
from feedback.views.progress_shown import Kind, kind_of
from feedback.views.swim import stands_under_its_place, swim_for
from portal.requests import SignedInRequest
from portal.shell import stands_under


@require_safe
def my_progress(request: SignedInRequest) -> HttpResponse:
    """All that was given to the user, by name: a couple may share an account."""
    stands_under(request, "my-swims")
    told, left_out = measured_swims(own_swims(request.user), request.user)
    told.sort(key=lambda one: one.swim.entry.swimmer.name)  # stable: by time within a name
    by_name = groupby(told, key=lambda one: one.swim.entry.swimmer.name)
    people = [(name, _kinds(list(its))) for name, its in by_name]
    return _page(request, [one for one in people if one[1]], left_out, swim=None)


@require_safe
def progress(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """Of the person of one swim, as far as the reader reviews their swims."""
    swim = swim_for(request, pk)
    stands_under_its_place(request, swim)
    swims = swims_of_same_person(swim, request.user)
    told, left_out = measured_swims(swims, request.user, of=swim)
    kinds = _kinds(told, swim)
    people = [(swim.entry.swimmer.name, kinds)] if kinds else []
    return _page(request, people, left_out, swim=swim)


def _kinds(told: list[Told], now: Swim | None = None) -> list[Kind]:
    """The kind that the page is about comes first."""
    alike = by_kind(told)
    alike.sort(key=lambda one: all(now is None or it.swim.pk != now.pk for it in one.swims))
    return [kind_of(one, now) for one in alike]


def _page(
    request: SignedInRequest,
    people: list[tuple[str, list[Kind]]],
    left_out: bool,
    *,
    swim: Swim | None,
) -> HttpResponse:
    context: dict[str, Any] = {
        "people": people,
        "swim": swim,
        "newest": NEWEST if left_out else None,
    }
    return render(request, "feedback/progress.html", context)
