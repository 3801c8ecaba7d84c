"""The figures of a clinic's clock fits for people: each tie with what it says, and coverage."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db.models import Prefetch

from clinics.compute.sound import HORN_HEIGHT_M, travel_s
from clinics.compute.time import (
    clinic_instant,
    media_s_at,
    seconds_between,
    swim_instant,
    ticks_to_media_s,
)
from clinics.models import Clinic, ClockFit, Recording, Station, Swim, Tie

if TYPE_CHECKING:
    from django.db.models import QuerySet

START_KINDS = (Tie.Kind.START_HEARD, Tie.Kind.START_SEEN)
# Placed on a frame, which is the first at or after the event: half an interval is taken off.
ON_A_FRAME = (Tie.FoundBy.PERSON, Tie.FoundBy.SLATE)


@dataclass(frozen=True)
class TieFigure:
    """A tie as the page tells it. `residual_ms`: how much later its frame is than the fit says,
    also of a tie that does not count; None where the clock is not known."""

    tie: Tie
    media_s: float
    instant: dt.datetime | None
    residual_ms: float | None


@dataclass(frozen=True)
class FitFigures:
    """One recording: its fit (None: not fitted yet), its ties in order of time, when it ran on the
    day, and how many starts of the log fall into it."""

    recording: Recording
    fit: ClockFit | None
    ties: tuple[TieFigure, ...]
    begins_at: dt.datetime | None
    ends_at: dt.datetime | None
    starts_in: tuple[Swim, ...]

    @property
    def frame_ms(self) -> float | None:
        return 1000 / self.recording.nominal_fps if self.recording.nominal_fps else None

    @property
    def starts_tied(self) -> set[object]:
        """The starts whose ties count."""
        return {
            one.tie.swim_id
            for one in self.ties
            if one.tie.kind in START_KINDS and not one.tie.set_aside
        }

    @property
    def all_heard(self) -> bool:
        kinds = {
            one.tie.kind
            for one in self.ties
            if one.tie.kind in START_KINDS and not one.tie.set_aside
        }
        return kinds == {Tie.Kind.START_HEARD}


def figures_of(recordings: QuerySet[Recording], clinic: Clinic) -> list[FitFigures]:
    """Of those recordings of the clinic, in order of station, camera and take."""
    ties = Tie.objects.select_related(
        "swim__entry__swimmer",
        "placed_by",
        "other_recording__station",
        "other_recording__camera",
        "other_recording__clock_fit",
    )
    rows = (
        recordings.filter(station__clinic=clinic)
        .select_related("station__clinic", "camera", "clock_fit")
        .prefetch_related(Prefetch("ties", queryset=ties))
        .order_by("station__order", "camera__name", "order")
    )
    swims = list(
        Swim.objects.filter(entry__clinic=clinic)
        .select_related("entry__swimmer")
        .order_by("start_at")
    )
    return [_figures(clinic, row, swims) for row in rows]


def _figures(clinic: Clinic, row: Recording, swims: list[Swim]) -> FitFigures:
    fit = getattr(row, "clock_fit", None)
    ends = None
    if fit is not None and fit.zero_at is not None and row.duration_s is not None:
        ends = clinic_instant(fit.zero_at, fit.rate_ppm, row.duration_s)
    begins = fit.zero_at if ends is not None and fit is not None else None
    inside = [s for s in swims if begins is not None and ends and begins <= s.start_at <= ends]
    ties = sorted(row.ties.all(), key=lambda tie: tie.pts_ticks)
    sound_s = sound_travel_s(clinic, row.station)
    told = tuple(_tie(tie, row, fit, sound_s) for tie in ties)
    return FitFigures(row, fit, told, begins, ends, tuple(inside))


def sound_travel_s(clinic: Clinic, station: Station) -> float:
    """From the starter to the station."""
    return travel_s(
        (clinic.starter_x_m, clinic.starter_y_m, HORN_HEIGHT_M),
        (station.x_m, station.y_m, station.z_m),
        clinic.air_temperature_c,
    )


def _tie(tie: Tie, row: Recording, fit: ClockFit | None, sound_s: float) -> TieFigure:
    media_s = ticks_to_media_s(tie.pts_ticks)
    if fit is None or fit.zero_at is None:
        return TieFigure(tie, media_s, None, tie.residual_ms)
    event_s = media_s - _half_frame_s(tie, row)
    at = clinic_instant(fit.zero_at, fit.rate_ppm, event_s)
    residual_ms = tie.residual_ms
    if residual_ms is None:  # it does not count: where it stands, by the fit without it
        told = _told(tie, sound_s)
        residual_ms = None if told is None else 1000 * seconds_between(told, at)
    return TieFigure(tie, media_s, at, residual_ms)


def _half_frame_s(tie: Tie, row: Recording) -> float:
    on_a_frame = tie.found_by in ON_A_FRAME and tie.kind != Tie.Kind.SLATE_HEARD
    return 0.5 / row.nominal_fps if on_a_frame and row.nominal_fps else 0.0


def _told(tie: Tie, sound_s: float) -> dt.datetime | None:
    """When the tie says that it was."""
    if tie.kind == Tie.Kind.SAME_MOMENT:
        other = getattr(tie.other_recording, "clock_fit", None)
        if other is None or other.zero_at is None or tie.other_ticks is None:
            return None
        at_s = ticks_to_media_s(tie.other_ticks) - _half_frame_s(tie, other.recording)
        return clinic_instant(other.zero_at, other.rate_ppm, at_s)
    if tie.swim is None:
        return tie.instant
    later_s = sound_s if tie.kind == Tie.Kind.START_HEARD else tie.expected_swim_s or 0.0
    return swim_instant(tie.swim.start_at, later_s)


def media_s_of_starts(figures: FitFigures) -> list[tuple[float, Swim]]:
    """Where the starts of the log fall into the recording."""
    fit = figures.fit
    if fit is None or fit.zero_at is None:
        return []
    return [(media_s_at(fit.zero_at, fit.rate_ppm, s.start_at), s) for s in figures.starts_in]
