"""Ties that people place, and the fit of all clocks that follows from them."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np
from django.db import transaction
from django.utils import timezone

from clinics.actions.bring_in import frames_of
from clinics.actions.errors import BadInput
from clinics.actions.errors import say as _
from clinics.actions.log import TAP_U_MS
from clinics.compute import clockfit
from clinics.compute.sound import HORN_HEIGHT_M, travel_s
from clinics.compute.ties_file import TieRow, parse_ties
from clinics.compute.time import TICKS_PER_S, from_epoch_s, ticks_to_media_s, to_epoch_s
from clinics.models import Clinic, ClockFit, Recording, Swim, Tie
from portal.actions.audit import record
from portal.actions.jobs import enqueue

if TYPE_CHECKING:
    from clinics.media.ticks import Int64
    from portal.models import Job, User

ALIGN_PRIORITY = 30
START_KINDS = {
    "heard": Swim.StartKind.HEARD,
    "seen": Swim.StartKind.MARK,
    "tap": Swim.StartKind.TAP,
}
LEAST_TIE_U_MS = 5.0
DEFAULT_FRAME_S = 1 / 25


# --- ties --------------------------------------------------------------------------------------


@transaction.atomic
def place_tie(
    *,
    recording: Recording,
    pts_ticks: int,
    swim: Swim | None = None,
    instant: dt.datetime | None = None,
    kind: str,
    u_ms: float | None = None,
    by: User | None,
) -> Tie:
    """Say that a frame is the first at or after a start, or after a known instant.

    The same start placed again on the same recording moves its tie. `u_ms` is how well the
    event can be told; without it half a frame interval, which covers the frame itself
    (a uniform share of 0.29) and a person's choice of frame.
    """
    frames = frames_of(recording)
    number = int(np.searchsorted(frames, pts_ticks))
    if number >= len(frames) or int(frames[number]) != pts_ticks:
        raise BadInput([("frame", f"this recording has no frame at {pts_ticks} ticks.")])
    _refuse_tie(recording, swim, instant, kind)
    u_ms = u_ms or max(1000 * _interval_s(frames, number) / 2, LEAST_TIE_U_MS)
    values = {"pts_ticks": pts_ticks, "u_ms": u_ms, "placed_by": by, "placed_at": timezone.now()}
    if swim is not None:
        tie, _new = Tie.objects.update_or_create(
            recording=recording, swim=swim, kind=kind, defaults=values
        )
    else:
        tie, _new = Tie.objects.update_or_create(
            recording=recording, swim=None, kind=kind, instant=instant, defaults=values
        )
    record(
        action="tie.placed",
        by=by,
        subject=tie,
        club=recording.station.clinic.club,
        detail={"recording": str(recording.pk), "kind": kind, "pts_ticks": pts_ticks},
    )
    return tie


def _refuse_tie(
    recording: Recording, swim: Swim | None, instant: dt.datetime | None, kind: str
) -> None:
    clinic_id = recording.station.clinic_id
    if recording.station.clinic.state == Clinic.State.CLOSED:
        raise BadInput([("", _("This clinic is closed; its clocks stay as they are."))])
    if kind == Tie.Kind.INSTANT:
        if instant is None or swim is not None:
            raise BadInput([("instant", "a known instant is needed, and no swim.")])
    elif kind not in Tie.Kind.values:
        raise BadInput([("kind", f"“{kind}” is no kind of tie.")])
    elif swim is None or swim.entry.clinic_id != clinic_id:
        raise BadInput([(_("swim"), _("choose a start of this clinic."))])
    elif kind == Tie.Kind.START_HEARD and not recording.has_sound:
        told = _("this recording has no sound, so its start cannot be heard.")
        raise BadInput([(_("kind"), told)])


@transaction.atomic
def remove_tie(*, tie: Tie, by: User | None) -> None:
    """Take a tie back; the next fit does without it."""
    clinic = tie.recording.station.clinic
    if clinic.state == Clinic.State.CLOSED:
        raise BadInput([("", _("This clinic is closed; its clocks stay as they are."))])
    detail = {"recording": str(tie.recording_id), "kind": tie.kind, "pts_ticks": tie.pts_ticks}
    record(action="tie.removed", by=by, subject=tie, club=clinic.club, detail=detail)
    tie.delete()


@transaction.atomic
def take_in_ties(*, clinic: Clinic, text: str, by: User | None, source: str = "ties") -> int:
    """Place all ties of a file (clinics/compute/ties_file.py), or none and BadInput."""
    errors: list[tuple[str, str]] = []
    rows = parse_ties(text, source=source)
    for row in rows:
        try:
            _place_row(clinic, row, by)
        except BadInput as bad:
            errors += [
                (row.where, f"{where}: {why}" if where else why) for where, why in bad.errors
            ]
    if errors:
        raise BadInput(errors)
    return len(rows)


def _place_row(clinic: Clinic, row: TieRow, by: User | None) -> None:
    recordings = Recording.objects.filter(
        station__clinic=clinic, station__slug=row.station, files__name__in=row.files
    ).distinct()
    if len(recordings) != 1:
        found = "no recording" if not recordings else "more than one recording"
        raise BadInput([("files", f"{found} of station “{row.station}” has these files.")])
    recording = recordings[0]
    frames = frames_of(recording)
    number = row.frame if row.frame is not None else _nearest(frames, row.ticks or 0)
    if not 0 <= number < len(frames):
        raise BadInput([("frame", f"this recording has {len(frames)} frames.")])
    swim = None
    if row.swimmer is not None:
        swim = Swim.objects.filter(
            entry__clinic=clinic, entry__number=row.swimmer, go=row.go
        ).first()
        if swim is None:
            raise BadInput([("swimmer", f"number {row.swimmer} has no start {row.go} in the log.")])
    place_tie(
        recording=recording,
        pts_ticks=int(frames[number]),
        swim=swim,
        instant=row.instant,
        kind=row.kind,
        u_ms=row.u_ms,
        by=by,
    )


def _nearest(frames: Int64, ticks: int) -> int:
    """Number of the frame that is shown nearest to that time; -1 if that is a frame away."""
    number = int(np.argmin(np.abs(frames - ticks)))
    near = abs(int(frames[number]) - ticks) <= _interval_s(frames, number) * TICKS_PER_S
    return number if near else -1


def _interval_s(frames: Int64, number: int) -> float:
    """How long the picture before a frame was shown: the event fell into that time."""
    if len(frames) < 2:
        return DEFAULT_FRAME_S
    number = max(number, 1)
    return ticks_to_media_s(int(frames[number] - frames[number - 1]))


# --- the fit -----------------------------------------------------------------------------------


def ask_to_align(*, clinic: Clinic, by: User | None = None) -> Job:
    """Ask for a job that fits the clocks, then plans the cuts."""
    return enqueue(kind="align", subject=clinic, asked_by=by, priority=ALIGN_PRIORITY)


def run_align(job: Job, pulse: Callable[..., None]) -> None:
    """The job of kind "align". Running twice changes nothing more."""
    from clinics.actions.cut import plan_cuts  # cutting follows aligning, and not the other way

    clinic = Clinic.objects.filter(pk__in=[job.subject_id]).first()
    if clinic is None or clinic.state == Clinic.State.CLOSED:
        return
    fit_clocks(clinic=clinic, by=job.asked_by)
    pulse(0.5)
    plan_cuts(clinic=clinic, by=job.asked_by)


@transaction.atomic
def fit_clocks(*, clinic: Clinic, by: User | None = None) -> list[ClockFit]:
    """Fit the clocks of all recordings that are read, and the starts that they are tied to.

    What people placed is not moved. A swim's start becomes the tied one where that is better
    known than the tap; the tap stays in the start log.
    """
    return list(fit(clinic=clinic, by=by)[0].values())


@transaction.atomic
def fit(
    *, clinic: Clinic, by: User | None = None
) -> tuple[dict[str, ClockFit], clockfit.ClinicFit]:
    """As `fit_clocks`; returns the rows by recording and the figures behind them."""
    clinic = Clinic.objects.select_for_update().select_related("club").get(pk=clinic.pk)
    reference = dt.datetime.combine(clinic.date, dt.time(), dt.UTC)
    rows = list(
        Recording.objects.filter(station__clinic=clinic, state=Recording.State.READY)
        .select_related("station", "camera", "frame_table")
        .prefetch_related("ties__swim")
    )
    swims = list(Swim.objects.filter(entry__clinic=clinic).select_related("log_entry"))
    recordings = {str(row.pk): _recording_in(row) for row in rows}
    found = clockfit.fit_clinic(
        list(recordings.values()),
        [_swim_in(swim, reference) for swim in swims],
        [tie for row in rows for tie in _ties_in(clinic, row, reference)],
    )
    found.recordings.update(_by_file_dates(rows, recordings, found, reference))
    changed = _save_swims(swims, found, reference)
    fits = {}
    for row in rows:
        fits[str(row.pk)], is_new = _save_fit(row, found.recordings[str(row.pk)], reference)
        changed |= is_new
        _save_residuals(row, found)
    if changed:
        states = [row.state for row in fits.values()]
        counts = {state: states.count(state) for state in ClockFit.State.values}
        record(action="clocks.fitted", by=by, subject=clinic, club=clinic.club, detail=counts)
    return fits, found


def _recording_in(row: Recording) -> clockfit.RecordingIn:
    frame_s = 1 / row.nominal_fps if row.nominal_fps else DEFAULT_FRAME_S
    return clockfit.RecordingIn(str(row.pk), str(row.camera_id), row.duration_s or 0.0, frame_s)


def _swim_in(swim: Swim, reference: dt.datetime) -> clockfit.SwimIn:
    """The tap is asked anew at each fit, so that fitting twice is the same as once."""
    if swim.log_entry is None:
        return clockfit.SwimIn(
            str(swim.pk), to_epoch_s(swim.start_at, reference), swim.start_u_ms / 1000
        )
    tapped = to_epoch_s(swim.log_entry.instant, reference)
    return clockfit.SwimIn(str(swim.pk), tapped, TAP_U_MS / 1000)


def _ties_in(clinic: Clinic, row: Recording, reference: dt.datetime) -> list[clockfit.TieIn]:
    ties = list(row.ties.all())
    if not ties:
        return []
    frames, station = frames_of(row), row.station
    sound_s = travel_s(
        (clinic.starter_x_m, clinic.starter_y_m, HORN_HEIGHT_M),
        (station.x_m, station.y_m, station.z_m),
        clinic.air_temperature_c,
    )
    return [
        clockfit.TieIn(
            key=str(tie.pk),
            recording=str(row.pk),
            kind=tie.kind,
            media_s=ticks_to_media_s(tie.pts_ticks),
            half_frame_s=_interval_s(frames, int(np.searchsorted(frames, tie.pts_ticks))) / 2,
            u_s=tie.u_ms / 1000,
            swim=str(tie.swim_id) if tie.swim_id else None,
            instant_s=None if tie.instant is None else to_epoch_s(tie.instant, reference),
            travel_s=sound_s if tie.kind == Tie.Kind.START_HEARD else 0.0,
        )
        for tie in ties
    ]


def _by_file_dates(
    rows: list[Recording],
    recordings: dict[str, clockfit.RecordingIn],
    found: clockfit.ClinicFit,
    reference: dt.datetime,
) -> dict[str, clockfit.RecordingFit]:
    """A coarse place for the recordings without a tie."""
    dates = {str(row.pk): to_epoch_s(row.file_date, reference) for row in rows if row.file_date}
    coarse = {}
    for row in rows:
        key = str(row.pk)
        if row.ties.all():
            continue
        siblings = [
            (dates[str(other.pk)], fitted.zero_s)
            for other in rows
            if other.camera_id == row.camera_id
            and str(other.pk) in dates
            and (fitted := found.recordings[str(other.pk)]).zero_s is not None
        ]
        starts = [swim.start_s for swim in found.swims.values()]
        coarse[key] = clockfit.fit_by_file_date(recordings[key], dates.get(key), starts, siblings)
    return coarse


def _save_swims(swims: list[Swim], found: clockfit.ClinicFit, reference: dt.datetime) -> bool:
    changed = False
    for swim in swims:
        if swim.log_entry is None:
            continue
        start = found.swims[str(swim.pk)]
        values = (
            from_epoch_s(start.start_s, reference),
            START_KINDS[start.by],
            round(start.u_s * 1000, 1),
        )
        if values != (swim.start_at, swim.start_kind, swim.start_u_ms):
            swim.start_at, swim.start_kind, swim.start_u_ms = values
            swim.save(update_fields=["start_at", "start_kind", "start_u_ms"])
            changed = True
    return changed


def _save_fit(
    row: Recording, fitted: clockfit.RecordingFit, reference: dt.datetime
) -> tuple[ClockFit, bool]:
    zero_at = None if fitted.zero_s is None else from_epoch_s(fitted.zero_s, reference)
    values = {
        "zero_at": zero_at,
        "rate_ppm": round(fitted.rate_ppm, 3),
        "u_ms": None if fitted.u_ms is None else round(fitted.u_ms, 1),
        "state": fitted.state,
        "method": fitted.method,
        "tie_count": fitted.ties,
        "reason": fitted.reason[:300],
    }
    known = ClockFit.objects.filter(recording=row).first()
    if known is not None and all(getattr(known, name) == value for name, value in values.items()):
        return known, False
    values["fitted_at"] = timezone.now()
    clock_fit, _new = ClockFit.objects.update_or_create(recording=row, defaults=values)
    return clock_fit, True


def _save_residuals(row: Recording, found: clockfit.ClinicFit) -> None:
    for tie in row.ties.all():
        told = found.ties[str(tie.pk)]
        residual_ms = None if told.residual_ms is None else round(told.residual_ms, 2)
        set_aside = told.set_aside[:200]
        if (tie.residual_ms, tie.set_aside) != (residual_ms, set_aside):
            tie.residual_ms, tie.set_aside = residual_ms, set_aside
            tie.save(update_fields=["residual_ms", "set_aside"])
