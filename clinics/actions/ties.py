"""Ties that people place: on a frame, or all of a file."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

import numpy as np
from django.db import transaction
from django.utils import timezone

from clinics.actions.errors import BadInput
from clinics.actions.errors import say as _
from clinics.actions.index import frames_of
from clinics.compute.ties_file import TieRow, parse_ties
from clinics.compute.time import TICKS_PER_S, ticks_to_media_s
from clinics.models import Clinic, Recording, Swim, Tie
from portal.actions.audit import record

if TYPE_CHECKING:
    from clinics.media.ticks import Int64
    from portal.models import User

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
    u_ms = u_ms or max(1000 * interval_s(frames, number) / 2, LEAST_TIE_U_MS)
    values = {"pts_ticks": pts_ticks, "u_ms": u_ms, "placed_by": by, "placed_at": timezone.now()}
    if swim is not None:
        tie, _new = Tie.objects.update_or_create(
            recording=recording,
            swim=swim,
            kind=kind,
            found_by=Tie.FoundBy.PERSON,
            defaults=values,
        )
    else:
        tie, _new = Tie.objects.update_or_create(
            recording=recording,
            swim=None,
            kind=kind,
            instant=instant,
            found_by=Tie.FoundBy.PERSON,
            defaults=values,
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
    near = abs(int(frames[number]) - ticks) <= interval_s(frames, number) * TICKS_PER_S
    return number if near else -1


def interval_s(frames: Int64, number: int) -> float:
    """How long the picture before a frame was shown: the event fell into that time."""
    if len(frames) < 2:
        return DEFAULT_FRAME_S
    number = max(number, 1)
    return ticks_to_media_s(int(frames[number] - frames[number - 1]))
