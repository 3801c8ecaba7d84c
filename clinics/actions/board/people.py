"""Whose swim it is: two swimmers swapped, somebody else's, nobody's, or one not logged."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterable
from typing import TYPE_CHECKING

from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from clinics.actions import check
from clinics.actions.align import ask_to_align
from clinics.actions.board.acts import fresh_swim, lock_clinic, lock_swim, note
from clinics.actions.board.said import somebody_spoke
from clinics.actions.board.state import FREE_GO, State, read, rows_of
from clinics.actions.check_rows import CheckRefused
from clinics.actions.clip_files import remove_clip
from clinics.actions.errors import BadInput
from clinics.actions.index import frames_of
from clinics.actions.log import log_start
from clinics.actions.ties import place_tie
from clinics.compute.log_file import TOO_CLOSE_S
from clinics.compute.time import clinic_instant, ticks_to_media_s
from clinics.models import (
    BoardAct,
    Clinic,
    ClipMask,
    ClockFit,
    Entry,
    Recording,
    StartLogEntry,
    Swim,
    Tie,
)

if TYPE_CHECKING:
    from portal.models import User

NUMBER, FACE = "number", "face"


@transaction.atomic
def swap_swimmers(*, one: Swim, other: Swim, by: User) -> BoardAct:
    """Each swim is the other's, at all stations at once.

    Footage, start and what was said about it stay with the swim: they are about the body in
    the picture. Who it is and who else is in it must be looked at anew for both, and what was
    passed on or given is taken back.
    """
    clinic, one = lock_swim(one, by)
    other = fresh_swim(other, by)
    if one.entry.clinic_id != other.entry.clinic_id:
        raise PermissionDenied("swims of two clinics")
    if one.entry_id == other.entry_id:
        told = _("Both are swims of %(name)s already.")
        raise CheckRefused(told % {"name": one.entry.swimmer.name})
    both = [one, other]
    before = read(rows_of(both, one.recognised.all(), other.recognised.all()))
    whose = [(swim.entry, swim.go) for swim in both]
    given = _given(both)
    Swim.objects.filter(pk=one.pk).update(go=FREE_GO)
    for swim, (entry, go) in zip((other, one), whose, strict=True):
        swim.entry, swim.go = entry, go
        check.look_anew(swim, by)
        swim.save()
    ask_to_align(clinic=clinic, by=by)  # windows follow the pace of whoever swims
    facts = {
        "swim": str(one.pk),
        "other": str(other.pk),
        "entries": [str(entry.pk) for entry, _go in whose],
        "given": given,
    }
    return note(BoardAct.Kind.SWAP, clinic=clinic, subject=one, before=before, facts=facts, by=by)


def _given(swims: Iterable[Swim]) -> list[str]:
    """Of the entries whose swimmers were told by mail already: that cannot be unsent."""
    return [str(swim.entry_id) for swim in swims if swim.given_at is not None]


@transaction.atomic
def reassign(*, swim: Swim, entry: Entry, by: User) -> BoardAct:
    """It is that person's swim, one more go of theirs. If they do not agree to be filmed it is
    hidden from now on, from the checker too, and goes by the date of a withdrawal."""
    clinic, swim = lock_swim(swim, by)
    before = read(rows_of([swim], swim.recognised.all()))
    entry_before, given = swim.entry_id, _given([swim])
    check.reassign(swim=swim, entry=entry, by=by)
    ask_to_align(clinic=clinic, by=by)
    facts = {"swim": str(swim.pk), "entries": [str(entry_before), str(entry.pk)], "given": given}
    return note(
        BoardAct.Kind.REASSIGN, clinic=clinic, subject=swim, before=before, facts=facts, by=by
    )


@transaction.atomic
def was_no_swim(*, swim: Swim, by: User) -> BoardAct:
    """Nobody swam: a no-show, a false tap, a start called back. Its clips go, the line of the
    start log stays as it was tapped."""
    clinic, swim = lock_swim(swim, by)
    if somebody_spoke(swim):
        raise CheckRefused(
            _(
                "Somebody has said something about this swim, so somebody swam. If it shows "
                "somebody else, say whose it is."
            )
        )
    clips, ties = list(swim.clips.all()), list(swim.ties.all())
    masks = ClipMask.objects.filter(clip__swim=swim)
    before = read(rows_of([swim], swim.recognised.all(), clips, masks, ties))
    facts = {"swim": str(swim.pk), "entries": [str(swim.entry_id)], "go": swim.go}
    facts |= {"start_at": swim.start_at.isoformat()}
    for clip in clips:
        remove_clip(clip=clip, by=by)
    subject = Swim(pk=swim.pk)
    swim.delete()
    if ties:
        ask_to_align(clinic=clinic, by=by)
    return note(
        BoardAct.Kind.NO_SWIM, clinic=clinic, subject=subject, before=before, facts=facts, by=by
    )


@transaction.atomic
def add_swim(
    *,
    entry: Entry,
    by: User,
    instant: dt.datetime | None = None,
    recording: Recording | None = None,
    frame: int | None = None,
) -> BoardAct:
    """A go that nobody logged. It begins at `instant`, or where `frame` of `recording` is the
    first at or after its start, which then ties that recording, too.

    It gets a line in the start log, so that it is fitted and reported as every other start.
    """
    clinic = lock_clinic(entry.clinic_id, by)
    seen = _start_seen(clinic, recording, frame, by) if recording is not None else None
    start_at = seen[1] if seen else instant
    if start_at is None:
        raise CheckRefused(_("Say when it started: a time, or a frame that shows the start."))
    _refuse_second(entry, start_at)
    line = log_start(
        clinic=clinic,
        client_id=f"board-{uuid.uuid4()}",
        entry=entry,
        instant=start_at,
        outcome=StartLogEntry.Outcome.AWAY,
        clock_run="board",
        by=by,
    )
    swim = Swim.objects.get(log_entry=line)
    before: State = {key: None for key in rows_of([swim])}
    if seen and recording is not None:
        place_tie(
            recording=recording, pts_ticks=seen[0], swim=swim, kind=Tie.Kind.START_SEEN, by=by
        )
        ask_to_align(clinic=clinic, by=by)
    facts = {"swim": str(swim.pk), "entries": [str(entry.pk)], "line": str(line.pk)}
    return note(
        BoardAct.Kind.ADD_SWIM, clinic=clinic, subject=swim, before=before, facts=facts, by=by
    )


def _start_seen(
    clinic: Clinic, recording: Recording, frame: int | None, by: User
) -> tuple[int, dt.datetime]:
    """PTS of the frame, and the clinic instant that it shows by the fit so far."""
    if recording.station.clinic_id != clinic.pk:
        raise PermissionDenied("a recording of another clinic")
    if not Recording.objects.handled_by(by).filter(pk=recording.pk).exists():
        raise CheckRefused(_("The recording is no longer there, or is held."))
    fit = ClockFit.objects.filter(recording=recording, zero_at__isnull=False).first()
    if fit is None or fit.zero_at is None:
        raise CheckRefused(
            _("This recording has no place on the clock yet. Give the time of the start instead.")
        )
    try:
        table = frames_of(recording)
    except (BadInput, FileNotFoundError):
        raise CheckRefused(_("The recording is not read yet. Wait until it is.")) from None
    if frame is None or not 0 <= frame < len(table):
        told = _("Give a frame of this recording, 0 to %(last)d.")
        raise CheckRefused(told % {"last": len(table) - 1})
    ticks = int(table[frame])
    return ticks, clinic_instant(fit.zero_at, fit.rate_ppm, ticks_to_media_s(ticks))


def _refuse_second(entry: Entry, start_at: dt.datetime) -> None:
    span = dt.timedelta(seconds=TOO_CLOSE_S)
    near = Swim.objects.filter(
        entry=entry, start_at__gt=start_at - span, start_at__lt=start_at + span
    )
    lines = StartLogEntry.objects.filter(
        entry=entry,
        outcome=StartLogEntry.Outcome.AWAY,
        undone_at__isnull=True,
        instant__gt=start_at - span,
        instant__lt=start_at + span,
    )
    if near.exists() or lines.exists():
        told = _(
            "%(name)s has a start within %(seconds)d seconds of that in the log already. "
            "Nobody goes twice in that time."
        )
        raise CheckRefused(told % {"name": entry.swimmer.name, "seconds": TOO_CLOSE_S})


@transaction.atomic
def confirm_many(*, swims: Iterable[Swim], by: User, how: str) -> BoardAct:
    """The checker has looked at all of them: each card says its number ("number"), or each is
    known by face ("face"). All of them or none."""
    swims = sorted(swims, key=lambda swim: str(swim.pk))
    if not swims:
        raise CheckRefused(_("Choose the swims first."))
    if how not in (NUMBER, FACE):
        raise ValueError(f"nobody confirms a person by “{how}”")
    clinic = lock_clinic(swims[0].entry.clinic_id, by)
    if any(swim.entry.clinic_id != clinic.pk for swim in swims):
        raise PermissionDenied("swims of two clinics")
    rows = [fresh_swim(swim, by) for swim in swims]
    before = read(rows_of(rows))
    at = timezone.now()
    for row in rows:
        number = row.entry.number if how == NUMBER else None
        check.confirm_person(swim=row, by=by, person_number=number)
    facts = {
        "swims": [str(row.pk) for row in rows],
        "entries": [str(row.entry_id) for row in rows],
        "how": how,
        "at": at.isoformat(),
    }
    subject = rows[0] if len(rows) == 1 else clinic
    return note(
        BoardAct.Kind.CONFIRM, clinic=clinic, subject=subject, before=before, facts=facts, by=by
    )
