"""A clinic's rows as the joint fit takes them: seconds from midnight (UTC) of its day."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from clinics.actions.index import frames_of
from clinics.actions.log_swims import TOO_CLOSE, tap_u_ms
from clinics.actions.soundtracks import samples_of
from clinics.actions.ties import DEFAULT_FRAME_S, interval_s
from clinics.compute import clockfit
from clinics.compute.geometry import passes
from clinics.compute.oneclock import Soundtrack
from clinics.compute.sound import HORN_HEIGHT_M, speed_of_sound_m_per_s, travel_s
from clinics.compute.time import ticks_to_media_s, to_epoch_s
from clinics.models import Clinic, Recording, StartLogEntry, Swim, Tie

if TYPE_CHECKING:
    from clinics.models import Station

SOUND_TRACK_HZ = 8_000
STATION_U_M = 0.3  # how well a station's place on the plan is known, along the way of the sound
PASS_U_SHARE, PASS_LEAST_U_S = 0.15, 0.5  # of an expected passing: paces are guesses
FOUND_ON_A_FRAME = (Tie.FoundBy.PERSON, Tie.FoundBy.SLATE)
LINE = "line "  # key of a start that is in the log and is no swim: called back, or not filmed


@dataclass
class Inputs:
    """What one fit is made of. `rows` and `swims` are the rows behind it."""

    reference: dt.datetime
    rows: list[Recording]
    swims: list[Swim]
    recordings: list[clockfit.RecordingIn] = field(default_factory=list)
    starts: list[clockfit.SwimIn] = field(default_factory=list)
    ties: list[clockfit.TieIn] = field(default_factory=list)

    def row(self, key: str) -> Recording:
        return next(row for row in self.rows if str(row.pk) == key)


def gather(clinic: Clinic, *, sound_ties: bool) -> Inputs:
    """All that is known before anything is listened to; with `sound_ties` also what the sound
    gave the last time."""
    reference = dt.datetime.combine(clinic.date, dt.time(), dt.UTC)
    rows = list(
        Recording.objects.filter(station__clinic=clinic, state=Recording.State.READY)
        .select_related("station", "camera", "frame_table", "sound_track", "motion")
        .prefetch_related("ties__swim")
    )
    swims = list(Swim.objects.filter(entry__clinic=clinic).select_related("log_entry", "entry"))
    found = Inputs(reference, rows, swims)
    found.recordings = [_recording_in(clinic, row, reference) for row in rows]
    found.starts = [_swim_in(swim, reference) for swim in swims]
    found.starts += _other_starts(clinic, swims, reference)
    left_out = {Tie.FoundBy.MOTION, Tie.FoundBy.CORRELATION}
    if not sound_ties:
        left_out.add(Tie.FoundBy.SOUND)
    known = {str(row.pk) for row in rows}
    for row in rows:
        ties = [tie for tie in row.ties.all() if tie.found_by not in left_out]
        found.ties += [
            tie for tie in _ties_in(clinic, row, ties, reference) if tie.other in (known | {None})
        ]
    return found


def _recording_in(clinic: Clinic, row: Recording, reference: dt.datetime) -> clockfit.RecordingIn:
    speed = speed_of_sound_m_per_s(clinic.air_temperature_c)
    return clockfit.RecordingIn(
        key=str(row.pk),
        camera=str(row.camera_id),
        duration_s=row.duration_s or 0.0,
        frame_s=1 / row.nominal_fps if row.nominal_fps else DEFAULT_FRAME_S,
        order=row.order,
        began_s=to_epoch_s(row.file_date, reference) if row.file_date else None,
        slow_motion=row.slow_motion,
        place_u_s=STATION_U_M / speed,
    )


def _swim_in(swim: Swim, reference: dt.datetime) -> clockfit.SwimIn:
    """The tap is asked anew at each fit, so that fitting twice is the same as once."""
    if swim.log_entry is None:
        return clockfit.SwimIn(
            str(swim.pk), to_epoch_s(swim.start_at, reference), max(swim.start_u_ms, 1.0) / 1000
        )
    tapped = to_epoch_s(swim.log_entry.instant, reference)
    return clockfit.SwimIn(str(swim.pk), tapped, tap_u_ms(swim.log_entry) / 1000)


def _other_starts(
    clinic: Clinic, swims: list[Swim], reference: dt.datetime
) -> list[clockfit.SwimIn]:
    """Starts of the log at which the signal was given and that are no swim. Of several lines of
    one start, as two phones take them, only the one whose clock is known best."""
    ours = {swim.log_entry_id for swim in swims}
    lines = StartLogEntry.objects.filter(
        clinic=clinic,
        undone_at__isnull=True,
        outcome__in=[
            StartLogEntry.Outcome.AWAY,
            StartLogEntry.Outcome.FALSE_START,
            StartLogEntry.Outcome.NOT_FILMED,
        ],
    )
    known: dict[tuple[object, str], list[dt.datetime]] = defaultdict(list)
    starts = []
    for line in sorted(lines, key=lambda one: (one.pk not in ours, tap_u_ms(one), one.instant)):
        its = known[line.entry_id, line.outcome]
        doubled = any(abs(line.instant - at) < TOO_CLOSE for at in its)
        its.append(line.instant)
        if line.pk not in ours and not doubled:
            at_s = to_epoch_s(line.instant, reference)
            starts.append(clockfit.SwimIn(LINE + str(line.pk), at_s, tap_u_ms(line) / 1000))
    return starts


def sound_travel_s(clinic: Clinic, station: Station) -> float:
    return travel_s(
        (clinic.starter_x_m, clinic.starter_y_m, HORN_HEIGHT_M),
        (station.x_m, station.y_m, station.z_m),
        clinic.air_temperature_c,
    )


def _ties_in(
    clinic: Clinic, row: Recording, ties: list[Tie], reference: dt.datetime
) -> list[clockfit.TieIn]:
    if not ties:
        return []
    frames, sound_s = frames_of(row), sound_travel_s(clinic, row.station)
    return [
        clockfit.TieIn(
            key=str(tie.pk),
            recording=str(row.pk),
            kind=tie.kind,
            media_s=ticks_to_media_s(tie.pts_ticks),
            half_frame_s=_half_frame_s(tie, frames, tie.pts_ticks),
            u_s=tie.u_ms / 1000,
            swim=str(tie.swim_id) if tie.swim_id else None,
            instant_s=None if tie.instant is None else to_epoch_s(tie.instant, reference),
            travel_s=sound_s if tie.kind == Tie.Kind.START_HEARD else 0.0,
            other=str(tie.other_recording_id) if tie.other_recording_id else None,
            other_media_s=ticks_to_media_s(tie.other_ticks or 0),
            other_half_frame_s=_other_half_frame_s(tie),
            found_by=tie.found_by,
            score=tie.score,
        )
        for tie in ties
    ]


def _half_frame_s(tie: Tie, frames: np.ndarray, ticks: int) -> float:
    """An event placed on a frame stands at the first frame at or after it; sound has no frames."""
    if tie.found_by not in FOUND_ON_A_FRAME or tie.kind == Tie.Kind.SLATE_HEARD:
        return 0.0
    return interval_s(frames, int(np.searchsorted(frames, ticks))) / 2


def _other_half_frame_s(tie: Tie) -> float:
    other = tie.other_recording
    if other is None or tie.found_by != Tie.FoundBy.PERSON or other.frame_table is None:
        return 0.0
    frames = frames_of(other)
    return interval_s(frames, int(np.searchsorted(frames, tie.other_ticks or 0))) / 2


def soundtracks(clinic: Clinic, rows: list[Recording]) -> list[Soundtrack]:
    """Of all recordings that hear anything, as they lie on disk (memory-mapped)."""
    found = []
    for row in rows:
        samples = samples_of(row)
        if samples is not None:
            sound_s = sound_travel_s(clinic, row.station)
            found.append(Soundtrack(str(row.pk), samples, SOUND_TRACK_HZ, sound_s))
    return found


def expected_passings(
    clinic: Clinic, station: Station, swims: list[Swim], starts: dict[str, clockfit.SwimFit]
) -> list[tuple[str, float, float]]:
    """(swim, clinic second, standard uncertainty) of each time somebody goes by a station."""
    expected = []
    for swim in swims:
        start = starts[str(swim.pk)]
        for one in passes(
            kind=station.kind,
            x_m=station.x_m,
            course_m=clinic.course_m,
            distance_m=clinic.distance_m,
            pace_s_per_100m=swim.entry.pace_s_per_100m,
        ):
            u_s = max(PASS_U_SHARE * one.at_s, PASS_LEAST_U_S)
            expected.append((str(swim.pk), start.start_s + one.at_s, u_s))
    return expected
