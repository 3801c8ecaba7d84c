"""The ends of a clip on the lane strip of its recording: what the page draws and a script moves."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from django.db.models import Q
from django.utils.translation import gettext as _

from clinics.actions.dropped import drops_of, merged, spans_on
from clinics.actions.errors import BadInput
from clinics.actions.index import frames_of
from clinics.compute.time import media_s_at, media_s_to_ticks, ticks_to_media_s
from clinics.media.errors import MediaError
from clinics.media.frames import frames_between
from clinics.models import Clip, DroppedSpan, Recording, SourceFile, Swim
from portal.compute.lane_strip import Instant, Lane, Span, share
from portal.models import StoredFile

if TYPE_CHECKING:
    import uuid

    from clinics.media.ticks import Int64
    from clinics.models import Clinic
    from portal.models import User

AROUND_S = 15.0  # of the recording, shown before and after the clip
KNOT_S = 1.0  # between the knots the frame rate is near enough the same to draw by
NUDGES = (-10, -1, 1, 10)


@dataclass(frozen=True)
class Ends:
    """A span of a recording that is being chosen. `first` and `last` are frames of it; `knots`
    are pairs of frame and media_s over the stretch that is shown."""

    recording: Recording
    lane: Lane
    first: int
    last: int
    frame_count: int
    knots: Sequence[tuple[int, float]]
    from_x: float
    to_x: float
    length_s: float

    @property
    def knots_json(self) -> str:
        return json.dumps(self.knots, separators=(",", ":"))

    @property
    def last_possible(self) -> int:
        return self.frame_count - 1

    @property
    def width_x(self) -> float:
        return round(self.to_x - self.from_x, 3)


class Takes:
    """The recordings of a clinic that the checker handles: frame tables, each read once, and
    what nobody sees. A few questions, however many recordings and clips there are."""

    def __init__(self, clinic: Clinic, user: User) -> None:
        rows = Recording.objects.handled_by(user).filter(station__clinic=clinic, state="ready")
        related = rows.select_related("station__clinic", "camera", "clock_fit", "frame_table")
        self.rows = list(related.order_by("station__order", "camera__name", "order"))
        self._by_pk = {row.pk: row for row in self.rows}
        self._drops = drops_of(clinic)
        self._kept: dict[uuid.UUID, list[tuple[int, int]]] = {}
        for span in DroppedSpan.objects.filter(recording__in=self.rows):
            self._kept.setdefault(span.recording_id, []).append((span.from_ticks, span.to_ticks))
        self._tables: dict[uuid.UUID, Int64 | None] = {}
        self._seen: set[uuid.UUID] | None = None

    def row(self, pk: uuid.UUID) -> Recording | None:
        return self._by_pk.get(pk)

    def table(self, recording: Recording) -> Int64 | None:
        """None: it is not read yet, or its table is gone."""
        if recording.pk not in self._tables:
            try:
                self._tables[recording.pk] = frames_of(recording)
            except (BadInput, MediaError, FileNotFoundError):
                self._tables[recording.pk] = None
        return self._tables[recording.pk]

    def can_be_seen(self, recording: Recording) -> bool:
        """Its originals are all there and were read, so that pictures can be taken from them."""
        if self._seen is None:
            files = SourceFile.objects.filter(recording__in=self.rows)
            gone = ~Q(stored__state=StoredFile.State.READY) | Q(facts={})
            lacking = set(files.filter(gone).values_list("recording_id", flat=True))
            self._seen = set(files.values_list("recording_id", flat=True)) - lacking
        return recording.pk in self._seen

    def dropped(self, recording: Recording) -> list[tuple[int, int]]:
        """Ticks, as clinics.actions.dropped.dropped_of has them."""
        fit = getattr(recording, "clock_fit", None)
        fresh = spans_on(fit, recording.duration_s, self._drops)
        return merged([*fresh, *self._kept.get(recording.pk, [])])


def ends_of_clip(clip: Clip, swims: Sequence[Swim], takes: Takes) -> Ends | None:
    """`swims` are those of the clinic that the checker sees, with their clips."""
    recording = takes.row(clip.recording_id)
    if recording is None:
        return None
    last = clip.first_frame + clip.frame_count - 1
    return ends_of(recording, clip.first_frame, last, swims, takes, but=clip)


def ends_of(
    recording: Recording,
    first: int,
    last: int,
    swims: Sequence[Swim],
    takes: Takes,
    *,
    but: Clip | None = None,
) -> Ends | None:
    table = takes.table(recording)
    if table is None or not 0 <= first <= last < len(table):
        return None
    from_s, to_s = (ticks_to_media_s(int(table[n])) for n in (first, last))
    end_s = ticks_to_media_s(int(table[-1]))
    begin, end = max(0.0, from_s - AROUND_S), min(end_s, to_s + AROUND_S)
    if end <= begin:
        return None
    lane = Lane(
        begin_s=begin,
        end_s=end,
        starts=_starts(recording, swims, begin, end),
        clips=_others(recording, swims, begin, end, but),
        dropped=_dropped(recording, takes, begin, end),
        as_clock=True,
    )
    return Ends(
        recording=recording,
        lane=lane,
        first=first,
        last=last,
        frame_count=len(table),
        knots=_knots(table, begin, end),
        from_x=share(lane, from_s),
        to_x=share(lane, to_s),
        length_s=round(to_s - from_s, 3),
    )


def expected_span(
    recording: Recording, swim: Swim, from_s: float, to_s: float, takes: Takes
) -> tuple[int, int] | None:
    """Frames of a span in swim_s; None if the clock is not found or the recording lacks it."""
    fit = getattr(recording, "clock_fit", None)
    table = takes.table(recording)
    if fit is None or fit.zero_at is None or table is None:
        return None
    start_s = media_s_at(fit.zero_at, fit.rate_ppm, swim.start_at)
    first, count = frames_between(
        table, media_s_to_ticks(start_s + from_s), media_s_to_ticks(start_s + to_s)
    )
    return (first, first + count - 1) if count > 0 else None


def _dropped(recording: Recording, takes: Takes, begin_s: float, end_s: float) -> tuple[Span, ...]:
    spans = (
        Span(ticks_to_media_s(begin), ticks_to_media_s(end))
        for begin, end in takes.dropped(recording)
    )
    return tuple(span for span in spans if span.to_s > begin_s and span.from_s < end_s)


def _starts(
    recording: Recording, swims: Sequence[Swim], begin_s: float, end_s: float
) -> tuple[Instant, ...]:
    fit = getattr(recording, "clock_fit", None)
    if fit is None or fit.zero_at is None:
        return ()
    found = [(media_s_at(fit.zero_at, fit.rate_ppm, swim.start_at), swim) for swim in swims]
    return tuple(Instant(at_s, _who(swim)) for at_s, swim in found if begin_s <= at_s <= end_s)


def _others(
    recording: Recording,
    swims: Sequence[Swim],
    begin_s: float,
    end_s: float,
    but: Clip | None,
) -> tuple[Span, ...]:
    spans = []
    for swim in swims:
        for clip in swim.clips.all():
            if clip.recording_id != recording.pk or (but is not None and clip.pk == but.pk):
                continue
            from_s, to_s = ticks_to_media_s(clip.in_ticks), ticks_to_media_s(clip.out_ticks)
            if to_s > begin_s and from_s < end_s:
                name = _("%(swimmer)s, pass %(n)s") % {"swimmer": _who(swim), "n": clip.pass_no}
                spans.append(Span(max(from_s, begin_s), min(to_s, end_s), name))
    return tuple(spans)


def _who(swim: Swim) -> str:
    return f"{swim.entry.number} {swim.entry.swimmer.name}"


def _knots(table: Int64, begin_s: float, end_s: float) -> list[tuple[int, float]]:
    """A frame each second with its time, and both ends."""
    first = int(np.searchsorted(table, media_s_to_ticks(begin_s)))
    last = min(int(np.searchsorted(table, media_s_to_ticks(end_s))), len(table) - 1)
    times = np.arange(begin_s, end_s, KNOT_S)[1:]
    between = np.searchsorted(table, [media_s_to_ticks(float(t)) for t in times])
    frames: list[Any] = sorted({first, last, *(int(n) for n in between if first < n < last)})
    return [(n, round(ticks_to_media_s(int(table[n])), 4)) for n in frames]
