"""What swimmers want coaches to look at, and injuries: a list for the coaches of this clinic."""

from __future__ import annotations

import uuid

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from clinics.actions.sign_up_notes import note_lines, note_reading
from clinics.models import Clinic
from clinics.views.plan_places import plan_places
from clinics.views.who import me


@never_cache
@require_safe
def notes(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    rows = Clinic.objects.coached_by(me(request)).select_related("club")
    clinic = get_object_or_404(rows, pk=pk)
    lines = note_lines(clinic, me(request))
    note_reading(clinic=clinic, by=me(request))
    told = {"clinic": clinic, "lines": lines, "places_of_plan": plan_places(clinic, "sign-ups")}
    return render(request, "clinics/sign_up_notes.html", told)
