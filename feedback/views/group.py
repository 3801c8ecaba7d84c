"""Swims of the clinics that somebody swam in, as their swimmers show them to the group."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import Prefetch
from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from clinics.models import Clinic, Clip, ClipFile, Swim
from feedback.views.my_swims import Still, stills_of
from portal.requests import SignedInRequest


@dataclass(frozen=True)
class GroupCard:
    swim: Swim
    stills: list[Still]


def _asked(request: SignedInRequest, clinics: list[Clinic]) -> Clinic | None:
    """The clinic that the address asks for, else the newest."""
    wanted = request.GET.get("clinic", "")
    return next((row for row in clinics if str(row.pk) == wanted), clinics[0] if clinics else None)


@require_safe
def group(request: SignedInRequest) -> HttpResponse:
    user = request.user
    shown = Swim.objects.shown_to_group(user).exclude(entry__swimmer__user=user)
    mine = Clinic.objects.filter(entries__swimmer__user=user).distinct().order_by("-date", "name")
    clinics = list(mine)
    clinic = _asked(request, clinics)
    posters = ClipFile.objects.visible_to(user).filter(kind=ClipFile.Kind.POSTER)
    clips = Clip.objects.visible_to(user).select_related("station")
    swims = shown.filter(entry__clinic=clinic).select_related("entry__swimmer", "entry__clinic")
    rows = swims.order_by("entry__swimmer__name", "start_at").prefetch_related(
        Prefetch("clips", clips, to_attr="seen_clips"),
        Prefetch("seen_clips__files", posters, to_attr="posters"),
    )
    cards = [GroupCard(swim, stills_of(swim.seen_clips)) for swim in rows]  # type: ignore[attr-defined]
    context = {"clinics": clinics, "clinic": clinic, "cards": cards}
    return render(request, "feedback/group.html", context)
