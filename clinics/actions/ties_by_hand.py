"""Ties that a person places beyond a start on a frame: the same moment in two recordings, and
one of two places that fit about as well."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from django.db import transaction
from django.utils import timezone

from clinics.actions.errors import BadInput
from clinics.actions.errors import say as _
from clinics.actions.fit_figures import sound_travel_s
from clinics.actions.index import frames_of
from clinics.actions.ties import LEAST_TIE_U_MS, interval_s, place_tie
from clinics.compute.time import (
    media_s_at,
    media_s_to_ticks,
    swim_instant,
)
from clinics.models import Clinic, ClockFit, Recording, Swim, Tie
from portal.actions.audit import record

if TYPE_CHECKING:
    from clinics.media.ticks import Int64
    from portal.models import User

CANDIDATE_U_MS = 150.0  # it says which of the places, not to the frame: as a tapped start


# --- the same moment ---------------------------------------------------------------------------


@transaction.atomic
def place_same_moment(
    *,
    recording: Recording,
    pts_ticks: int,
    other: Recording,
    other_ticks: int,
    u_ms: float | None = None,
    by: User | None,
) -> Tie:
    """Say that a frame of one recording and a frame of another are the first at or after the same
    event (a splash, a hand at the wall). The same frame against the same recording again moves
    its tie. Without `u_ms`: half a frame interval of each, together."""
    _refuse_pair(recording, other)
    interval_s = _interval_at(recording, pts_ticks), _interval_at(other, other_ticks)
    halves_ms = math.hypot(*(1000 * interval / 2 for interval in interval_s))
    tie, _new = Tie.objects.update_or_create(
        recording=recording,
        kind=Tie.Kind.SAME_MOMENT,
        found_by=Tie.FoundBy.PERSON,
        other_recording=other,
        pts_ticks=pts_ticks,
        defaults={
            "other_ticks": other_ticks,
            "u_ms": u_ms or max(halves_ms, LEAST_TIE_U_MS),
            "placed_by": by,
            "placed_at": timezone.now(),
        },
    )
    record(
        action="tie.placed",
        by=by,
        subject=tie,
        club=recording.station.clinic.club,
        detail={
            "recording": str(recording.pk),
            "kind": tie.kind,
            "pts_ticks": pts_ticks,
            "other": str(other.pk),
            "other_ticks": other_ticks,
        },
    )
    return tie


def _refuse_pair(recording: Recording, other: Recording) -> None:
    if recording.station.clinic.state == Clinic.State.CLOSED:
        raise BadInput([("", _("This clinic is closed; its clocks stay as they are."))])
    if recording.pk == other.pk:
        raise BadInput([(_("other view"), _("choose another recording than this one."))])
    if recording.station.clinic_id != other.station.clinic_id:
        raise BadInput([(_("other view"), _("choose a recording of the same clinic."))])


def _interval_at(recording: Recording, ticks: int) -> float:
    """How long the picture before this frame was shown: the event fell into that time."""
    frames = frames_of(recording)
    number = int(np.searchsorted(frames, ticks))
    if number >= len(frames) or int(frames[number]) != ticks:
        raise BadInput([("frame", f"this recording has no frame at {ticks} ticks.")])
    return interval_s(frames, number)


# --- two places that fit about as well -----------------------------------------------------------


@dataclass(frozen=True)
class Place:
    """One of the places at which a recording may lie, with a start to look at.

    `frame` is the first at or after that swim's start under this place, None if no start of the
    log falls into the recording. `slow_motion`: the factor under which it would fit.
    """

    key: str  # zero_at as stored: it names the place when a person chooses it
    zero_at: dt.datetime
    rate_ppm: float
    matched: int | None
    of: int | None
    false_match_p: float | None
    slow_motion: float | None
    swim: Swim | None
    frame: int | None


def places_of(recording: Recording, fit: ClockFit | None, frames: Int64) -> list[Place]:
    """The places that the fit could not decide between, best first; what cannot be read of what
    it stored is left out."""
    if fit is None:
        return []
    swims = Swim.objects.filter(entry__clinic=recording.station.clinic)
    swims = swims.select_related("entry__swimmer").order_by("start_at")
    told = [one for one in fit.candidates if isinstance(one, dict)]
    known = list(swims) if told else []
    places = [_place(recording, one, known, frames) for one in told]
    return [place for place in places if place is not None]


def _place(
    recording: Recording, told: dict[str, Any], swims: list[Swim], frames: Int64
) -> Place | None:
    try:
        zero_at = dt.datetime.fromisoformat(told["zero_at"])
    except (KeyError, TypeError, ValueError):
        return None
    if zero_at.tzinfo is None:
        return None
    factor = told.get("slow_motion")
    stretch = factor or recording.slow_motion
    rate_ppm = told.get("rate_ppm", (1 / stretch - 1) * 1e6)
    swim, frame = _start_in(recording, zero_at, rate_ppm, swims, frames)
    return Place(
        key=told["zero_at"],
        zero_at=zero_at,
        rate_ppm=rate_ppm,
        matched=told.get("matched"),
        of=told.get("of"),
        false_match_p=told.get("false_match_p"),
        slow_motion=factor,
        swim=swim,
        frame=frame,
    )


def _start_in(
    recording: Recording,
    zero_at: dt.datetime,
    rate_ppm: float,
    swims: list[Swim],
    frames: Int64,
) -> tuple[Swim | None, int | None]:
    """The start nearest the middle of the recording, and the first frame at or after it (after
    its sound, where there is sound)."""
    later_s = 0.0
    if recording.has_sound:
        later_s = sound_travel_s(recording.station.clinic, recording.station)
    last = int(frames[-1])
    inside = []
    for swim in swims:
        media_s = media_s_at(zero_at, rate_ppm, swim_instant(swim.start_at, later_s))
        ticks = media_s_to_ticks(media_s)
        if 0 <= ticks <= last:
            inside.append((abs(ticks - last / 2), int(np.searchsorted(frames, ticks)), swim))
    if not inside:
        return None, None
    _distance, number, swim = min(inside, key=lambda one: one[0])
    return swim, number


@transaction.atomic
def choose_place(*, recording: Recording, key: str, by: User | None) -> Tie:
    """Say that it lies at this one of the places: a tie of the person at its best start. The
    factor of slow motion under which the place would fit is taken over with it."""
    frames = frames_of(recording)
    fit = ClockFit.objects.filter(recording=recording).first()
    place = next((p for p in places_of(recording, fit, frames) if p.key == key), None)
    if place is None:
        told = _("The places have changed meanwhile: look at them again.")
        raise BadInput([("", told)])
    if place.swim is None or place.frame is None:
        told = _("No start of the log falls into the recording there: place a tie by hand.")
        raise BadInput([("", told)])
    if place.slow_motion:
        from clinics.actions.slow_motion import set_slow_motion

        set_slow_motion(recording=recording, factor=place.slow_motion, by=by)
    return place_tie(
        recording=recording,
        pts_ticks=int(frames[place.frame]),
        swim=place.swim,
        kind=Tie.Kind.START_HEARD if recording.has_sound else Tie.Kind.START_SEEN,
        u_ms=CANDIDATE_U_MS,
        by=by,
    )
