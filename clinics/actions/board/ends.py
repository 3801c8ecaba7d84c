"""Where a clip begins and ends, as a person says: to the frame, and for good."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from clinics.actions.board.acts import lock_clip, lock_swim, note
from clinics.actions.board.state import read, rows_of
from clinics.actions.check_rows import CheckRefused
from clinics.actions.clip_files import OPEN_NOW_PRIORITY, RENDER_KIND
from clinics.actions.clip_source import original_is_there
from clinics.actions.dropped import clip_spans_on, drops_of
from clinics.actions.errors import BadInput
from clinics.actions.index import frames_of
from clinics.actions.keeping import clips_delete_by
from clinics.compute.time import (
    clinic_instant,
    seconds_between,
    swim_s,
    ticks_to_media_s,
)
from clinics.media.errors import MediaError
from clinics.models import BoardAct, Clip, ClockFit, Recording, Swim
from portal.actions.jobs import enqueue

if TYPE_CHECKING:
    from clinics.media.ticks import Int64
    from portal.models import User

PERSON = "person"
LONGEST_S = 900.0  # a quarter of an hour is no pass of a swimmer by a station


@transaction.atomic
def nudge(*, clip: Clip, frames: int, by: User) -> BoardAct:
    """Move both ends of a clip by that many frames of its recording; later is positive."""
    clinic, row = lock_clip(clip, by)
    table = _table(row.recording)
    first, last = row.first_frame + frames, row.first_frame + row.frame_count - 1 + frames
    if frames == 0:
        raise CheckRefused(_("Say by how many frames to move it."))
    _refuse_wider(row, first, last)
    _refuse_span(row.recording, table, first, last)
    before = read(rows_of([row]))
    from_s, to_s = _seen_moved(row, int(table[first]) - row.in_ticks)
    _place(row, table, first, last, seen=(from_s, to_s), by=by)
    facts = {"clip": str(row.pk), "swim": str(row.swim_id), "frames": frames}
    return note(BoardAct.Kind.NUDGE, clinic=clinic, subject=row, before=before, facts=facts, by=by)


@transaction.atomic
def set_ends(*, clip: Clip, first_frame: int, last_frame: int, by: User) -> BoardAct:
    """The clip shows these frames of its recording, from the first to the last."""
    clinic, row = lock_clip(clip, by)
    table = _table(row.recording)
    _refuse_wider(row, first_frame, last_frame)
    _refuse_span(row.recording, table, first_frame, last_frame)
    if (first_frame, last_frame) == (row.first_frame, row.first_frame + row.frame_count - 1):
        raise CheckRefused(_("The clip has these ends already."))
    before = read(rows_of([row]))
    whole = _swim_span(row.recording, row.swim, table, first_frame, last_frame)
    _place(row, table, first_frame, last_frame, seen=_seen_within(row, whole), by=by)
    facts = {"clip": str(row.pk), "swim": str(row.swim_id)}
    return note(BoardAct.Kind.ENDS, clinic=clinic, subject=row, before=before, facts=facts, by=by)


@transaction.atomic
def cut_by_hand(
    *,
    swim: Swim,
    recording: Recording,
    first_frame: int,
    last_frame: int,
    by: User,
    pass_no: int | None = None,
) -> BoardAct:
    """A clip of the swim from these frames. Without `pass_no` it is the first pass of that
    station that has none; a pass that has a clip gets this one instead."""
    clinic, swim = lock_swim(swim, by)
    if recording.station.clinic_id != clinic.pk:
        raise PermissionDenied("a recording of another clinic")
    if swim.clips_gone_at is not None:
        raise CheckRefused(
            _("The clips of this swim were deleted as the club's rules say; none is made again.")
        )
    table = _frames(recording, by)
    if not original_is_there(recording):
        raise CheckRefused(_("The originals are deleted, so nothing more is cut from them."))
    _refuse_span(recording, table, first_frame, last_frame)
    known = {
        clip.pass_no: clip
        for clip in Clip.objects.filter(swim=swim, station=recording.station).order_by("created_at")
    }
    if pass_no is None:
        pass_no = next(n for n in range(1, len(known) + 2) if n not in known)
    clip = known.get(pass_no) or Clip(swim=swim, station=recording.station, pass_no=pass_no)
    masks = [] if clip.recording_id == recording.pk else list(clip.masks.all())
    before = read(rows_of([clip], masks))
    for mask in masks:
        mask.delete()  # it stands on frames of the recording that the clip was cut from
    seen = _swim_span(recording, swim, table, first_frame, last_frame)
    if clip._state.adding:
        _fill(clip, recording, table, first_frame, last_frame, seen)
        clip.delete_by = clips_delete_by(clinic, cut_at=timezone.now())
        clip.save(force_insert=True)
        ask_to_render_now(clip, by)
    else:
        clip.recording = recording
        _place(clip, table, first_frame, last_frame, seen=seen, by=by)
    facts = {"clip": str(clip.pk), "swim": str(swim.pk), "recording": str(recording.pk)}
    return note(BoardAct.Kind.CUT, clinic=clinic, subject=clip, before=before, facts=facts, by=by)


# --- what may be -------------------------------------------------------------------------------


def _frames(recording: Recording, by: User) -> Int64:
    if not Recording.objects.handled_by(by).filter(pk=recording.pk).exists():
        raise CheckRefused(
            _("The recording is no longer there, or is held. Its clips stay as they are.")
        )
    return _table(recording)


def _table(recording: Recording) -> Int64:
    """Of a clip that may be moved, its recording's: kept for longer than the originals."""
    try:
        return frames_of(recording)
    except (BadInput, MediaError, FileNotFoundError):
        raise CheckRefused(_("The recording is not read yet. Wait until it is.")) from None


def _refuse_wider(clip: Clip, first: int, last: int) -> None:
    """Once the originals are gone there is nothing but what the clip shows."""
    end = clip.first_frame + clip.frame_count - 1
    within = clip.first_frame <= first and last <= end
    if within or original_is_there(clip.recording):
        return
    told = _(
        "The originals are deleted, so this clip can only be made narrower: choose within "
        "frames %(first)d to %(last)d."
    )
    raise CheckRefused(told % {"first": clip.first_frame, "last": end})


def _refuse_span(recording: Recording, table: Int64, first: int, last: int) -> None:
    if last < first:
        raise CheckRefused(_("The last frame comes before the first. Give the first one first."))
    if first < 0 or last >= len(table):
        told = ngettext(
            "This recording has %(count)d frame, 0 to %(last)d: choose within it.",
            "This recording has %(count)d frames, 0 to %(last)d: choose within it.",
            len(table),
        )
        raise CheckRefused(told % {"count": len(table), "last": len(table) - 1})
    in_ticks, out_ticks = span_ticks(table, first, last)
    if ticks_to_media_s(out_ticks - in_ticks) > LONGEST_S:
        raise CheckRefused(_("That is longer than a quarter of an hour: choose one pass only."))
    dropped = clip_spans_on(recording, drops_of(recording.station.clinic))
    if any(in_ticks < to and out_ticks > from_ for from_, to in dropped):
        raise CheckRefused(
            _(
                "Somebody swims there who has not agreed to be filmed; nobody sees that part of "
                "the recording. Choose frames before or after it."
            )
        )


# --- placing -------------------------------------------------------------------------------------


def span_ticks(table: Int64, first: int, last: int) -> tuple[int, int]:
    """Half open: from the first frame to when the one after the last is shown."""
    if last + 1 < len(table):
        return int(table[first]), int(table[last + 1])
    usual = int(table[last] - table[last - 1]) if last > 0 else 1
    return int(table[first]), int(table[last]) + max(usual, 1)


def _fill(
    clip: Clip,
    recording: Recording,
    table: Int64,
    first: int,
    last: int,
    seen: tuple[float, float],
) -> dict[str, Any]:
    """The fields of a clip that a person placed; its files are to be made."""
    in_ticks, out_ticks = span_ticks(table, first, last)
    fit = ClockFit.objects.filter(recording=recording).first()
    values = {
        "recording": recording,
        "first_frame": first,
        "frame_count": last - first + 1,
        "in_ticks": in_ticks,
        "out_ticks": out_ticks,
        "seen_from_s": round(seen[0], 3),
        "seen_to_s": round(seen[1], 3),
        "window_by": PERSON,
        "seen_by": PERSON,
        "missing_before_s": 0.0,
        "missing_after_s": 0.0,
        "missing_by": "",
        "time_state": fit.state if fit else ClockFit.State.NOT_FOUND,
        "state": Clip.State.WAITING,
        "reason": "",
    }
    for name, value in values.items():
        setattr(clip, name, value)
    return values


def _place(
    clip: Clip, table: Int64, first: int, last: int, *, seen: tuple[float, float], by: User
) -> None:
    """The clip's files stay until the new ones are there; the fence hides them meanwhile."""
    values = _fill(clip, clip.recording, table, first, last, seen)
    clip.save(update_fields=list(values))
    ask_to_render_now(clip, by)


def ask_to_render_now(clip: Clip, by: User | None) -> None:
    """Only this clip, and before the others: somebody waits for it."""
    enqueue(kind=RENDER_KIND, subject=clip, asked_by=by, priority=OPEN_NOW_PRIORITY)


# --- when the swimmer is in picture ----------------------------------------------------------


def _fit_rate(recording: Recording) -> float:
    fit = ClockFit.objects.filter(recording=recording).first()
    return 1 + fit.rate_ppm * 1e-6 if fit else 1.0


def _seen_moved(clip: Clip, by_ticks: int) -> tuple[float, float]:
    """The swimmer is in the same frames of the clip as before, so later by as much."""
    by_s = ticks_to_media_s(by_ticks) * _fit_rate(clip.recording)
    return clip.seen_from_s + by_s, clip.seen_to_s + by_s


def _seen_within(clip: Clip, whole: tuple[float, float]) -> tuple[float, float]:
    """As far as the new ends hold it; the whole clip if they do not."""
    from_s, to_s = max(clip.seen_from_s, whole[0]), min(clip.seen_to_s, whole[1])
    return (from_s, to_s) if from_s < to_s else whole


def _swim_span(
    recording: Recording, swim: Swim, table: Int64, first: int, last: int
) -> tuple[float, float]:
    """The frames in swim_s; without a clock from zero, since nobody knows better."""
    in_ticks, out_ticks = span_ticks(table, first, last)
    fit = ClockFit.objects.filter(recording=recording, zero_at__isnull=False).first()
    if fit is None or fit.zero_at is None:
        return 0.0, ticks_to_media_s(out_ticks - in_ticks)
    begin, end = (
        clinic_instant(fit.zero_at, fit.rate_ppm, ticks_to_media_s(ticks))
        for ticks in (in_ticks, out_ticks)
    )
    begin_s = swim_s(swim.start_at, begin)
    return begin_s, begin_s + seconds_between(begin, end)
