"""Stroke rates read from the picture in the demo: asked for as a coach would, from the deck."""

from __future__ import annotations

from clinics.models import Clinic, Clip
from feedback.actions.rate_read import MOST_WAITING, Span, TooManyWaiting, ask_rate
from feedback.compute.measuring.medley import MEDLEY
from feedback.models import RateReading
from portal.models import User

DECK = "deck"


def ask_demo_rates(*, clinic: Clinic, by: User, most: int = 4) -> int:
    """Of a swim of each stroke that was passed on and has no reading yet, in the view that goes
    along with the swimmer; the workers read them. How many were asked for."""
    clips = Clip.objects.visible_to(by).filter(
        swim__entry__clinic=clinic, swim__passed_at__isnull=False, state="ready"
    )
    clips = clips.filter(station__kind=DECK).select_related(
        "swim__entry__clinic__club", "station", "recording__clock_fit"
    )
    strokes = {
        MEDLEY,
        *RateReading.objects.filter(swim__entry__clinic=clinic).values_list("stroke", flat=True),
    }
    asked = 0
    for clip in clips.order_by("swim__start_at", "pass_no"):
        stroke = clip.swim.entry.stroke
        if stroke in strokes or asked >= min(most, MOST_WAITING):
            continue
        try:
            span = Span(0, clip.frame_count - 1)
            ask_rate(swim=clip.swim, by=by, clip=clip, span=span, stroke=stroke)
        except TooManyWaiting:
            break
        strokes.add(stroke)
        asked += 1
    return asked
