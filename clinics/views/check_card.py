"""The number card that a swimmer holds up to the start camera before the start, large enough to
be read: one picture of the original, as high as it is."""

from __future__ import annotations

import uuid
from dataclasses import dataclass

import numpy as np
from django import forms
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404
from django.views.decorators.http import require_safe

from clinics.compute.time import media_s_at, media_s_to_ticks
from clinics.models import Recording, Station, Swim
from clinics.views.check_lane import Takes
from clinics.views.recording_frames import decode, jpeg_answer
from portal.requests import SignedInRequest

HEIGHT = 1080  # at most; the source's own if that is less
STEP_S, LONGEST_S = 1.0, 60.0
USUALLY_S = (4.0, 3.0, 2.0, 1.0)  # before the start the card is held up; a file may begin later


class BeforeForm(forms.Form):
    """How long before the start, in seconds; negative: after it."""

    before = forms.FloatField(required=False, min_value=-10.0, max_value=LONGEST_S)

    def before_s(self) -> float | None:
        """None if nobody asked for a certain instant."""
        known = self.is_valid() and self.cleaned_data["before"] is not None
        return float(self.cleaned_data["before"]) if known else None


@dataclass(frozen=True)
class Shown:
    """The recording and the frame that show a swim's start camera at an instant."""

    recording: Recording
    frame: int


def start_recordings(swim: Swim, takes: Takes) -> list[Recording]:
    """Of the cameras at the start whose clock is found; that of the swim's own clip first."""
    own = {clip.recording_id for clip in swim.clips.all()}
    found = [
        row
        for row in takes.rows
        if row.station.kind == Station.Kind.START_SIDE
        and (fit := getattr(row, "clock_fit", None)) is not None
        and fit.zero_at is not None
    ]
    return sorted(found, key=lambda row: (row.pk not in own, row.station.order))


def seconds_into(recording: Recording, swim: Swim, before_s: float) -> float | None:
    """media_s of the instant; None if the recording does not hold it."""
    fit = recording.clock_fit
    assert fit.zero_at is not None
    media_s = media_s_at(fit.zero_at, fit.rate_ppm, swim.start_at) - before_s
    return media_s if 0 <= media_s < (recording.duration_s or 0.0) else None


def shown_at(swim: Swim, takes: Takes, before_s: float) -> Shown | None:
    for recording in start_recordings(swim, takes):
        media_s, table = seconds_into(recording, swim, before_s), takes.table(recording)
        if media_s is None or table is None or not takes.can_be_seen(recording):
            continue
        ticks = media_s_to_ticks(media_s)
        if not any(begin <= ticks < end for begin, end in takes.dropped(recording)):
            return Shown(recording, max(int(np.searchsorted(table, ticks, side="right")) - 1, 0))
    return None


def card_before_s(swim: Swim, takes: Takes, asked_s: float | None) -> float:
    """The instant asked for; else the first of the usual ones that a camera shows."""
    if asked_s is not None:
        return asked_s
    seen = (before_s for before_s in USUALLY_S if shown_at(swim, takes, before_s))
    return next(seen, USUALLY_S[0])


@require_safe
def check_card(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """The picture; 404 where no camera shows that instant, or nobody may see it."""
    mine = Swim.objects.handled_by(request.user).select_related("entry__clinic")
    swim = get_object_or_404(mine, pk=pk)
    takes = Takes(swim.entry.clinic, request.user)
    before_s = card_before_s(swim, takes, BeforeForm(request.GET).before_s())
    shown = shown_at(swim, takes, before_s)
    if shown is None:
        raise Http404
    row = shown.recording
    height = min(HEIGHT, row.height or HEIGHT)
    made = decode(request, row, takes.table(row), shown.frame, 1, height)
    return made if isinstance(made, HttpResponse) else jpeg_answer(made[0])
