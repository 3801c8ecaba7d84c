"""Marks in the demo: where a coach would have placed them, by the truth beside the recordings and
by how the swimmers are painted."""

from __future__ import annotations

import datetime as dt
import json
import math
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from clinics.compute.time import TICKS_PER_S, swim_s_to_media_s
from clinics.management.demo.motion import COURSE_M, Go
from clinics.models import Clinic, Clip, Swim
from feedback.actions.frames import ticks_of
from feedback.actions.mark import NOTHING_MORE, Placed, Row, place_marks
from feedback.management.demo_axis import true_starts
from feedback.management.demo_swum import dive_s, hands_in_s, head_at, head_reaches_s
from feedback.models import Mark
from portal.models import User

K = Mark.Kind
# at which stations an event shows best
START, FAR_WALL = ("start-side", "deck", "underwater"), ("turn-window", "deck", "underwater")
OUT = ("underwater", "start-side", "turn-window", "deck")
ALONG = ("deck", "underwater", "turn-window", "start-side")
HEADS_M = (10.0, 15.0, 20.0)  # of each length
READ_OFF_U_M = 0.15  # a coach reads the place of a breakout off the rope to 0.3 m or so
COUNTED = 2  # lengths of which each stroke is marked
Event = tuple[float, str, tuple[str, ...], Placed]


def place_demo_marks(*, clinic: Clinic, folder: Path, by: User) -> int:
    """On every swim that was passed on and has none yet; how many were placed."""
    truth = json.loads((folder / "truth.json").read_text())
    swims = {one["number"]: one for one in truth["swims"]}
    starts = true_starts(clinic, truth)
    passed = Swim.objects.filter(entry__clinic=clinic, passed_at__isnull=False, marks=None)
    return sum(
        _mark(swim, swims[swim.entry.number], starts[swim.entry.number], by)
        for swim in passed.select_related("entry__clinic__club")
        if swim.entry.number in swims
    )


def _mark(swim: Swim, truth: dict[str, Any], start_at: dt.datetime, by: User) -> int:
    filmed = _Filmed(swim, truth, start_at)
    entry = swim.entry
    lengths = round(entry.clinic.distance_m / COURSE_M)
    go = Go(truth["duration_s"], entry.stroke, entry.start == "water", lengths=lengths)
    events = list(_events(go))
    walls = [event for event in events if event[1] == K.FEET_TOUCH_WALL]
    # beyond a wall that nobody filmed it is not clear which length a mark is in
    until_s = min((event[0] for event in walls if filmed.row(event) is None), default=math.inf)
    rows = [row for event in events if event[0] < until_s and (row := filmed.row(event))]
    for number in range(1, min(COUNTED, lengths) + 1):
        hands = [(at_s, K.HAND_ENTRY, ALONG) for at_s in hands_in_s(go, number) if at_s < until_s]
        rows += filmed.longest(hands)
    unlike = {
        (row.kind, row.clip.recording_id, row.clip.first_frame + row.frame): row for row in rows
    }
    return place_marks(swim=swim, by=by, rows=list(unlike.values()))


def _events(go: Go) -> Iterator[Event]:
    first_s, last_s = (None, None) if go.from_water else dive_s(go)
    yield go.leave_s, K.FEET_LEAVE_BLOCK, START, NOTHING_MORE
    if first_s is not None and last_s is not None:
        yield first_s, K.FIRST_ENTRY, START, NOTHING_MORE
        yield last_s, K.FULL_ENTRY, START, NOTHING_MORE
    yield _breakout(go, go.breakout_s)
    for turn in go.turns:
        wall = FAR_WALL if turn.at_far_wall else START
        yield turn.feet_touch_s, K.FEET_TOUCH_WALL, wall, NOTHING_MORE
        yield turn.feet_leave_s, K.FEET_LEAVE_WALL, wall, NOTHING_MORE
        yield _breakout(go, turn.breakout_s)
    at_finish = FAR_WALL if go.ends_at_far_wall else START
    yield go.duration_s, K.HANDS_TOUCH_WALL, at_finish, NOTHING_MORE
    for number in range(go.lengths):
        for at_m in (number * COURSE_M + m for m in HEADS_M):
            at_s = head_reaches_s(go, at_m)
            if at_s is not None:
                yield at_s, K.HEAD_AT_DISTANCE, ALONG, Placed(distance_m=at_m)


def _breakout(go: Go, at_s: float) -> Event:
    placed = Placed(distance_m=round(head_at(go, at_s), 1), distance_u_m=READ_OFF_U_M)
    return at_s, K.BREAKOUT, OUT, placed


class _Filmed:
    """The clips of a swim, and when the swimmer is in their pictures."""

    def __init__(self, swim: Swim, truth: dict[str, Any], start_at: dt.datetime) -> None:
        ready = Clip.objects.filter(swim=swim, state="ready")
        clips = ready.select_related("station", "recording__clock_fit", "recording__frame_table")
        self._clips: dict[str, list[Clip]] = {}
        for clip in clips:
            self._clips.setdefault(clip.station.slug, []).append(clip)
        self._start_at = start_at
        self._seen_s = {one["station"]: one["in_picture_s"] for one in truth["stations"]}

    def row(self, event: Event) -> Row | None:
        """The first frame at or after the event, at the best station that filmed it."""
        at_s, kind, stations, more = event
        for station in stations:
            found = self._frame(station, at_s)
            if found is not None:
                return Row(str(kind), found[0], found[1], more)
        return None

    def longest(self, events: Sequence[tuple[float, str, tuple[str, ...]]]) -> list[Row]:
        """The longest row of events without a gap that one station has, so that none is missed."""
        best: list[Row] = []
        for station in events[0][2] if events else ():
            run: list[Row] = []
            for at_s, kind, _stations in events:
                found = self._frame(station, at_s)
                run = [*run, Row(str(kind), *found)] if found else []
                best = run if len(run) > len(best) else best
        return best

    def _frame(self, station: str, at_s: float) -> tuple[Clip, int] | None:
        if not any(begin_s <= at_s <= end_s for begin_s, end_s in self._seen_s.get(station, ())):
            return None
        for clip in self._clips.get(station, ()):
            fit, ticks = clip.recording.clock_fit, ticks_of(clip.recording)
            if fit.zero_at is None or ticks is None:
                continue
            media_s = swim_s_to_media_s(fit.zero_at, fit.rate_ppm, self._start_at, at_s)
            frame = int(np.searchsorted(ticks, media_s * TICKS_PER_S)) - clip.first_frame
            if 0 <= frame < clip.frame_count:
                return clip, frame
        return None
