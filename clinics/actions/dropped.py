"""Spans of recordings that nobody sees: somebody swam who did not agree to be filmed.

What is dropped, and from whom:

- the start log says "not filmed", or somebody started who never agreed: from before their
  start until they have left the picture, on every recording of the clinic. No clip is cut
  from it, clips that reach into it are taken away and cut again around it, and no picture of
  it is shown;
- somebody agreed, was filmed, and agrees no longer: their clips are hidden and dated
  already (keeping.py) and stay theirs until then; of the recordings no picture of that span
  is shown any more. Other people's clips are not cut again: who can be recognised in them is
  recorded, and the fence asks them all.

Spans follow from the start log, the consents and the clock fits. They are kept as rows, made
anew at every align, and are worked out afresh whenever a picture is asked for: what is
dropped is never a moment behind the fit. Where no clock is known nobody can say which
pictures are meant: then pictures of that recording are shown to the clinic's checkers only,
since somebody must look for a start to tie it, and they see everything to check it anyhow.
The original itself keeps everything until it is deleted.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db import transaction

from clinics.actions.clip_files import cancel_render, take_files_away
from clinics.compute.clockfit import FILE_DATE
from clinics.compute.dropped import BEFORE_S, UNSURE_TIMES, gone_after_s
from clinics.compute.log_file import TOO_CLOSE_S
from clinics.compute.time import media_s_at, media_s_to_ticks, seconds_between
from clinics.models import (
    Clinic,
    Clip,
    ClockFit,
    Consent,
    DroppedSpan,
    Entry,
    Recording,
    StartLogEntry,
    Swim,
)
from clinics.privacy import FILM_AND_REVIEW

if TYPE_CHECKING:
    from portal.models import User

NOT_FILMED = StartLogEntry.Outcome.NOT_FILMED
NOT_THERE = (StartLogEntry.Outcome.NO_SHOW, StartLogEntry.Outcome.SKIPPED)
UNKNOWN_PACE_S = 180.0  # a line without a swimmer: slow, so that too much is dropped
LONGEST_AWAY_S = 600.0  # a next start later than this says nothing about the lane


@dataclass(frozen=True)
class Drop:
    """From when until when nobody is shown, in clinic time. `only_pictures`: the swimmer
    agreed once, so clips stay as they are."""

    from_at: dt.datetime
    to_at: dt.datetime
    line_id: uuid.UUID | None
    only_pictures: bool


Spans = list[tuple[int, int]]


# --- what is dropped ---------------------------------------------------------------------------


def drops_of(clinic: Clinic) -> list[Drop]:
    """All that is dropped of a clinic, in clinic time, in order."""
    lines, swims = _gone_away(clinic)
    agree_now, agreed_once = _consents(clinic)
    starts = starts_of(lines, swims)
    gone: list[tuple[dt.datetime, Entry | None, uuid.UUID | None, bool]] = []
    for line in lines:
        if hasattr(line, "swim"):
            continue  # below: a swim may have turned out to be of another than its line says
        if line.outcome == NOT_FILMED:
            gone.append((line.instant, line.entry, line.pk, False))
        elif line.entry is not None and line.entry.swimmer_id not in agree_now:
            agreed = line.entry.swimmer_id in agreed_once
            gone.append((line.instant, line.entry, line.pk, agreed))
    for swim in swims:
        whose = swim.entry.swimmer_id
        if whose not in agree_now:
            gone.append((swim.start_at, swim.entry, swim.log_entry_id, whose in agreed_once))
    drops = {_drop(clinic, starts, *one) for one in gone}
    return sorted(drops, key=lambda drop: (drop.from_at, drop.only_pictures))


def _gone_away(clinic: Clinic) -> tuple[list[StartLogEntry], list[Swim]]:
    lines = clinic.start_log.filter(undone_at__isnull=True).exclude(outcome__in=NOT_THERE)
    swims = Swim.objects.filter(entry__clinic=clinic).select_related("entry")
    return list(lines.select_related("entry", "swim")), list(swims)


def starts_of_clinic(clinic: Clinic) -> list[dt.datetime]:
    return starts_of(*_gone_away(clinic))


def starts_of(lines: Iterable[StartLogEntry], swims: Iterable[Swim]) -> list[dt.datetime]:
    """When anybody started, in order: from then on the lane is somebody else's. `lines` of the
    log without those that were undone or did not come, with their swims."""
    without_swim = [line.instant for line in lines if not hasattr(line, "swim")]
    return sorted([*without_swim, *(swim.start_at for swim in swims)])


def _consents(clinic: Clinic) -> tuple[set[uuid.UUID], set[uuid.UUID]]:
    """Who agrees to be filmed now, and who ever did."""
    rows = Consent.objects.filter(swimmer__club=clinic.club_id, purpose=FILM_AND_REVIEW)
    told = list(rows.values_list("swimmer_id", "ended_at"))
    return {pk for pk, ended_at in told if ended_at is None}, {pk for pk, _ in told}


def _drop(
    clinic: Clinic,
    starts: Sequence[dt.datetime],
    start_at: dt.datetime,
    entry: Entry | None,
    line_id: uuid.UUID | None,
    only_pictures: bool,
) -> Drop:
    gone_s = gone_after_s(
        distance_m=clinic.distance_m,
        pace_s_per_100m=entry.pace_s_per_100m if entry is not None else UNKNOWN_PACE_S,
        next_start_s=next_start_s(starts, start_at),
    )
    from_at = start_at - dt.timedelta(seconds=BEFORE_S)
    return Drop(from_at, start_at + dt.timedelta(seconds=gone_s), line_id, only_pictures)


def next_start_s(starts: Sequence[dt.datetime], start_at: dt.datetime) -> float | None:
    """Seconds until somebody starts next; the same start tapped twice is not the next one.

    `starts` in order. None: nobody within ten minutes.
    """
    for other in starts:
        after_s = seconds_between(start_at, other)
        if after_s > TOO_CLOSE_S:
            return after_s if after_s <= LONGEST_AWAY_S else None
    return None


# --- on a recording ------------------------------------------------------------------------------


def spans_on(fit: ClockFit | None, duration_s: float | None, drops: Iterable[Drop]) -> Spans:
    """The dropped spans of a recording in ticks of its media time, merged, in order.

    Widened by how unsure the clock is. Empty if the clock is not found.
    """
    if fit is None or fit.zero_at is None or not duration_s:
        return []
    wider = dt.timedelta(seconds=UNSURE_TIMES * (fit.u_ms or 0.0) / 1000)
    spans: Spans = []
    for drop in drops:
        from_s = max(media_s_at(fit.zero_at, fit.rate_ppm, drop.from_at - wider), 0.0)
        to_s = media_s_at(fit.zero_at, fit.rate_ppm, drop.to_at + wider)
        if to_s > from_s and from_s <= duration_s:
            spans.append((media_s_to_ticks(from_s), media_s_to_ticks(to_s)))
    return merged(spans)


def merged(spans: Iterable[tuple[int, int]]) -> Spans:
    """
    >>> merged([(5, 9), (1, 3), (2, 4)])
    [(1, 4), (5, 9)]
    """
    found: Spans = []
    for from_, to in sorted(spans):
        if found and from_ <= found[-1][1]:
            found[-1] = (found[-1][0], max(found[-1][1], to))
        else:
            found.append((from_, to))
    return found


def dropped_of(recording: Recording) -> Spans:
    """Spans of which no picture is shown: as kept, and as they follow from the fit just now."""
    clinic = recording.station.clinic
    fit = ClockFit.objects.filter(recording=recording).first()
    fresh = spans_on(fit, recording.duration_s, drops_of(clinic))
    kept = recording.dropped_spans.values_list("from_ticks", "to_ticks")
    return merged([*fresh, *kept])


def is_dropped(recording_id: uuid.UUID, ticks: int) -> bool:
    """Is the picture at `ticks` of the recording one that nobody sees?"""
    recording = Recording.objects.select_related("station__clinic").get(pk=recording_id)
    return any(from_ <= ticks < to for from_, to in dropped_of(recording))


def pictures_open_to(recording: Recording, user: User) -> bool:
    """May the user see pictures of the recording at all, as far as dropped spans go?

    Everybody whom the fence lets in, where the clock tells which pictures are dropped. Where
    no clock is known, or only a camera's date, which can be wrong by hours: the checkers.
    """
    clinic = recording.station.clinic
    fit = ClockFit.objects.filter(recording=recording, zero_at__isnull=False).first()
    placed = fit is not None and fit.method != FILE_DATE
    if placed or not drops_of(clinic):
        return True
    return Clinic.objects.checked_by(user).filter(pk=clinic.pk).exists()


# --- keeping it so -------------------------------------------------------------------------------


@transaction.atomic
def plan_dropped(*, clinic: Clinic) -> int:
    """Make the rows anew, and take away the files of clips that reach into them.

    How many spans there are. The clips themselves are brought in line by the next plan of
    the cuts; until then nobody sees them, since they have no files. Running twice changes
    nothing.
    """
    drops = drops_of(clinic)
    count = 0
    rows = Recording.objects.filter(station__clinic=clinic).select_related("clock_fit")
    for recording in rows.prefetch_related("dropped_spans"):
        count += _keep_rows(recording, drops)
        if drops:
            _clear_clips(recording, clip_spans_on(recording, drops))
    return count


def clip_spans_on(recording: Recording, drops: Iterable[Drop]) -> Spans:
    """The spans from which no clip may be made. `recording` with its clock fit."""
    fit = getattr(recording, "clock_fit", None)
    return spans_on(fit, recording.duration_s, [d for d in drops if not d.only_pictures])


def _keep_rows(recording: Recording, drops: Sequence[Drop]) -> int:
    fit: ClockFit | None = getattr(recording, "clock_fit", None)
    wanted = {
        (span[0], span[1], drop.line_id)
        for drop in drops
        for span in spans_on(fit, recording.duration_s, [drop])
    }
    if fit is None or fit.zero_at is None:
        return recording.dropped_spans.count()  # no clock just now: what was dropped stays so
    known = {
        (row.from_ticks, row.to_ticks, row.log_entry_id) for row in recording.dropped_spans.all()
    }
    if wanted != known:
        recording.dropped_spans.all().delete()
        DroppedSpan.objects.bulk_create(
            DroppedSpan(recording=recording, from_ticks=a, to_ticks=b, log_entry_id=line)
            for a, b, line in sorted(wanted, key=lambda one: one[:2])
        )
    return len(wanted)


def _clear_clips(recording: Recording, spans: Spans) -> None:
    for clip in recording.clips.all():
        if not reaches_into(clip, spans):
            continue
        take_files_away(clip)
        if clip.state != Clip.State.WAITING:
            Clip.objects.filter(pk=clip.pk).update(state=Clip.State.WAITING, reason="")
        cancel_render(clip, None)


def reaches_into(clip: Clip, spans: Iterable[tuple[int, int]]) -> bool:
    return any(clip.in_ticks < to and clip.out_ticks > from_ for from_, to in spans)


def may_be_made(clip: Clip) -> bool:
    """Does the clip keep clear of what is dropped just now? Asked before it is rendered, and
    again before it is published."""
    recording = Recording.objects.select_related("clock_fit", "station__clinic").get(
        pk=clip.recording_id
    )
    drops = drops_of(recording.station.clinic)
    return not reaches_into(clip, clip_spans_on(recording, drops))
