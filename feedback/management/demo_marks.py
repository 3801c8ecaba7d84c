"""Marks in the demo: where a coach would have placed them, by the truth beside the recordings."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path
from typing import Any

import numpy as np

from clinics.compute.time import TICKS_PER_S, swim_s_to_media_s
from clinics.models import Clinic, Clip, Swim
from feedback.actions.frames import ticks_of
from feedback.actions.mark import place_mark
from feedback.models import Mark
from portal.models import User

# event of the truth, kind of mark, at which stations it shows best
EVENTS = (
    ("leave", Mark.Kind.FEET_LEAVE_BLOCK, ("start-side", "deck")),
    ("entry", Mark.Kind.FIRST_ENTRY, ("start-side", "deck")),
    ("breakout", Mark.Kind.BREAKOUT, ("underwater", "start-side", "deck")),
    ("turn_1_feet_touch", Mark.Kind.FEET_TOUCH_WALL, ("turn-window", "deck")),
    ("turn_1_feet_leave", Mark.Kind.FEET_LEAVE_WALL, ("turn-window", "deck")),
    ("turn_1_breakout", Mark.Kind.BREAKOUT, ("underwater", "turn-window", "deck")),
)


def place_demo_marks(*, clinic: Clinic, folder: Path, by: User) -> int:
    """On every swim that was passed on and has none yet; how many were placed."""
    truth = json.loads((folder / "truth.json").read_text())
    swims = {one["number"]: one for one in truth["swims"]}
    passed = Swim.objects.filter(entry__clinic=clinic, passed_at__isnull=False, marks=None)
    return sum(
        _mark(swim, swims[swim.entry.number], by)
        for swim in passed.select_related("entry__clinic__club")
        if swim.entry.number in swims
    )


def _mark(swim: Swim, truth: dict[str, Any], by: User) -> int:
    clips = list(
        Clip.objects.filter(swim=swim, state="ready").select_related(
            "station", "recording__clock_fit"
        )
    )
    start_at = dt.datetime.fromisoformat(truth["start_at"])
    placed = 0
    for event, kind, stations in EVENTS:
        found = _frame(clips, stations, start_at, truth["events_s"].get(event))
        if found is not None:
            place_mark(swim=swim, by=by, clip=found[0], frame=found[1], kind=kind)
            placed += 1
    return placed


def _frame(
    clips: list[Clip], stations: tuple[str, ...], start_at: dt.datetime, event_s: float | None
) -> tuple[Clip, int] | None:
    """The first frame at or after the event, at the best station that filmed it."""
    if event_s is None:
        return None
    for station in stations:
        for clip in (clip for clip in clips if clip.station.slug == station):
            fit, ticks = clip.recording.clock_fit, ticks_of(clip.recording)
            if fit.zero_at is None or ticks is None:
                continue
            media_s = swim_s_to_media_s(fit.zero_at, fit.rate_ppm, start_at, event_s)
            frame = int(np.searchsorted(ticks, media_s * TICKS_PER_S)) - clip.first_frame
            if 0 <= frame < clip.frame_count:
                return clip, frame
    return None
