"""Stored swims with marks at known times: those of the pure tests, on a recording's frames."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any

from clinics.compute.time import TICKS_PER_S
from clinics.models import Recording, Swim
from feedback.compute.measuring.events import Event
from feedback.models import Mark
from tests.cast import FPS
from tests.feedback.measuring.swims import TRUTH

STEP_TICKS = TICKS_PER_S // FPS


def mark_swim(
    swim: Swim,
    recording: Recording,
    by: Any,
    *,
    slower_s: float = 0.0,
    truth: Iterable[tuple[Event, float, float | None, str]] = TRUTH,
) -> list[Mark]:
    """A mark on the first frame at or after each event; all events `slower_s` later."""
    begin_s = (swim.start_at - recording.clock_fit.zero_at).total_seconds()
    marks = [
        Mark(
            swim=swim,
            recording=recording,
            pts_ticks=math.ceil((begin_s + at_s + slower_s) * FPS) * STEP_TICKS,
            kind=str(event),
            interval_ticks=STEP_TICKS,
            distance_m=distance_m,
            distance_u_m=None,
            placed_by=by,
        )
        for event, at_s, distance_m, _view in truth
    ]
    return Mark.objects.bulk_create(marks)
