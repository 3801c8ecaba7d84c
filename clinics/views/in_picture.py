"""Who can be recognised at a station over a span of time, said on the page of the checked swim."""

from __future__ import annotations

import datetime as dt
import uuid
from dataclasses import dataclass
from typing import Any

from django import forms
from django.contrib import messages
from django.db.models import F, Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from clinics.actions import in_picture as acts
from clinics.actions.check_rows import CheckRefused
from clinics.compute.time import clinic_instant, ticks_to_media_s
from clinics.models import Clinic, ClipMask, InPicture, Station, Swim, Swimmer
from clinics.views.who import me
from portal.row_field import RowChoiceField

BEFORE, AFTER = dt.timedelta(seconds=10), dt.timedelta(minutes=2)


class TagForm(forms.Form):
    """Times of day at the pool."""

    swimmer = RowChoiceField(Swimmer.objects.none())
    station = RowChoiceField(Station.objects.none())
    begin = forms.TimeField()
    end = forms.TimeField()

    def __init__(self, data: Any, *, swim: Swim) -> None:
        super().__init__(data)
        clinic = swim.entry.clinic
        self.zone = clinic.zone
        self.day = swim.start_at.astimezone(self.zone).date()
        entries = clinic.entries.exclude(pk=swim.entry_id)
        people = Swimmer.objects.filter(entries__in=entries)
        self.fields["swimmer"].queryset = people  # type: ignore[attr-defined]
        self.fields["station"].queryset = clinic.stations.all()  # type: ignore[attr-defined]

    def said(self) -> dict[str, Any]:
        """As `clinics.actions.in_picture.tag` takes it."""
        told = self.cleaned_data
        spans = {
            name: dt.datetime.combine(self.day, told[name], self.zone) for name in ("begin", "end")
        }
        return {"station": told["station"], "swimmer": told["swimmer"], **spans}


@dataclass(frozen=True)
class Tagged:
    """`agrees`: to be filmed; `covered`: in how many of `clips` clips of the swim they are."""

    row: InPicture
    begin: dt.datetime | None
    end: dt.datetime | None
    agrees: bool
    clips: int
    covered: int


def in_picture_part(swim: Swim) -> dict[str, Any]:
    """For the swim's page: who is tagged in what its clips show, and when the form begins and
    ends. One query where nobody is, else three."""
    rows = InPicture.objects.filter(
        Q(from_ticks__lt=F("recording__clips__out_ticks")),
        Q(to_ticks__gt=F("recording__clips__in_ticks")),
        recording__clips__swim=swim,
    ).exclude(swimmer_id=swim.entry.swimmer_id)
    found = list(
        rows.select_related("swimmer", "recording__station", "recording__clock_fit").distinct()
    )
    times = {"tag_begin": swim.start_at - BEFORE, "tag_end": swim.start_at + AFTER}
    return {"tagged": _all_tagged(found, swim) if found else [], **times}


def _all_tagged(found: list[InPicture], swim: Swim) -> list[Tagged]:
    agreeing = acts.who_agrees(row.swimmer_id for row in found)
    covers = ClipMask.objects.filter(clip__swim=swim, made_at__lt=F("clip__rendered_at"))
    covered = {(one.clip_id, one.covers_id) for one in covers}
    clips = list(swim.clips.all())
    return [_tagged(row, clips, agreeing, covered) for row in found]


def _tagged(row: InPicture, clips: list[Any], agreeing: set[Any], covered: set[Any]) -> Tagged:
    reached = [
        clip
        for clip in clips
        if clip.recording_id == row.recording_id
        and clip.in_ticks < row.to_ticks
        and clip.out_ticks > row.from_ticks
    ]
    return Tagged(
        row=row,
        begin=_instant(row, row.from_ticks),
        end=_instant(row, row.to_ticks),
        agrees=row.swimmer_id in agreeing,
        clips=len(reached),
        covered=sum((clip.pk, row.swimmer_id) in covered for clip in reached),
    )


def _instant(row: InPicture, ticks: int) -> dt.datetime | None:
    fit = getattr(row.recording, "clock_fit", None)
    if fit is None or fit.zero_at is None:
        return None
    return clinic_instant(fit.zero_at, fit.rate_ppm, ticks_to_media_s(ticks))


@require_POST
def tag(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    mine = Swim.objects.handled_by(me(request)).select_related("entry__clinic", "entry__swimmer")
    swim = get_object_or_404(mine, pk=pk)
    form = TagForm(request.POST, swim=swim)
    here = reverse("clinics:check-swim", args=[swim.pk]) + "#in-picture"
    if not form.is_valid():
        messages.error(request, _("Say who, at which station, from when and until when."))
        return redirect(here)
    try:
        acts.tag(by=me(request), **form.said())
    except CheckRefused as refusal:
        messages.error(request, " ".join(refusal.reasons))
    else:
        messages.success(request, _("Noted. It counts for every clip of that time."))
    return redirect(here)


@require_POST
def untag(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    checked = Clinic.objects.checked_by(me(request)).exclude(state=Clinic.State.CLOSED)
    rows = InPicture.objects.filter(recording__station__clinic__in=checked)
    acts.untag(tagged=get_object_or_404(rows, pk=pk), by=me(request))
    messages.success(request, _("Taken away."))
    came_from = request.POST.get("swim", "")
    mine = Swim.objects.handled_by(me(request)).filter(pk=came_from) if _is_id(came_from) else None
    if mine is None or not mine.exists():
        return redirect("portal:home")
    return redirect(reverse("clinics:check-swim", args=[came_from]) + "#in-picture")


def _is_id(text: str) -> bool:
    try:
        uuid.UUID(text)
    except ValueError:
        return False
    return True
