"""Pictures of one swim's measures, below their list: fetched by the swim's page, which renews them
after a mark, or a page of their own where there is no script."""

from __future__ import annotations

import uuid

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from feedback.actions.spread import among_others
from feedback.actions.swim_pictures import told_until
from feedback.views.coaching import coaches_here
from feedback.views.spread_shown import among_part
from feedback.views.swim import stands_under_its_place, swim_for
from feedback.views.swim_pictures_shown import one_swim
from portal.requests import SignedInRequest


@require_safe
def swim_pictures(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """For whoever reads what is measured on the swim; `?part`: without the page around it."""
    swim = swim_for(request, pk)
    stands_under_its_place(request, swim)
    coaching = coaches_here(request, swim)
    until = told_until(swim, request.user, by=request.user if coaching else None)
    part = "part" in request.GET
    shown = {
        "part": part,
        "swim": swim,
        "coaching": coaching,
        "one": one_swim(until),
        "among": among_part(among_others(swim, until[-1].measured)),
    }
    name = "feedback/_swim_pictures.html" if part else "feedback/swim_pictures.html"
    return render(request, name, shown)
