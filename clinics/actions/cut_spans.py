"""Which spans of which recordings should be clips, as fits, windows and motion now say."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from clinics.actions.dropped import (
    Drop,
    Spans,
    clip_spans_on,
    drops_of,
    next_start_s,
    starts_of_clinic,
)
from clinics.actions.index import frames_of, motion_of
from clinics.compute.clockfit import FILE_DATE
from clinics.compute.motion import Seen, passes_seen, window_from_motion
from clinics.compute.time import (
    TICKS_PER_S,
    media_s_to_ticks,
    seconds_between,
    swim_s_to_media_s,
    ticks_to_media_s,
)
from clinics.compute.windows import Window, clip_to, keep_clear, told_by_motion, windows_for
from clinics.media.frames import frames_between
from clinics.models import Clinic, ClockFit, Recording, Station, Swim

if TYPE_CHECKING:
    from clinics.media.ticks import Int64

CLEAR_TICKS = TICKS_PER_S // 10  # kept clear of a dropped span: a hair's better fit reaches no clip

# why a pass has no clip
NOT_RECORDED, NO_CLOCK, ONLY_DATE, DROPPED = "not-recorded", "no-clock", "only-file-date", "dropped"


@dataclass(frozen=True)
class Cut:
    """A clip as it should be."""

    swim: Swim
    station: Station
    recording: Recording
    window: Window
    in_ticks: int
    out_ticks: int
    first_frame: int
    frame_count: int
    time_state: str
    plain_ticks: tuple[int, int]  # in and out as they would be without what motion tells
    worth: tuple[float, bool, float]  # of several recordings of a pass the greatest is cut


@dataclass(frozen=True)
class LeftOut:
    """A pass that should have a clip at a station that filmed, and why it has none:
    "not-recorded", "no-clock", "only-file-date" or "dropped"."""

    swim: Swim
    station: Station
    pass_no: int
    why: str


@dataclass(frozen=True)
class Wanted:
    cuts: list[Cut] = field(default_factory=list)
    left_out: list[LeftOut] = field(default_factory=list)


@dataclass(frozen=True)
class _Source:
    """A recording whose clock is found, with what is needed of it for every swim."""

    recording: Recording
    fit: ClockFit
    frames: Int64
    dropped: Spans
    seen: Sequence[Seen]  # what passed, in media seconds

    def swim_s(self, swim: Swim, ticks: int) -> float:
        assert self.fit.zero_at is not None
        rate = 1 + self.fit.rate_ppm * 1e-6
        return ticks_to_media_s(ticks) * rate - seconds_between(self.fit.zero_at, swim.start_at)

    def ticks(self, swim: Swim, at_s: float) -> int:
        assert self.fit.zero_at is not None
        media_s = swim_s_to_media_s(self.fit.zero_at, self.fit.rate_ppm, swim.start_at, at_s)
        return media_s_to_ticks(media_s)


def wanted_cuts(clinic: Clinic, swims: Sequence[Swim], coarse_too: bool) -> Wanted:
    """Every clip that should be, by swim, then by station and pass; and what has none."""
    sources, unplaced = _sources(clinic, drops_of(clinic), coarse_too)
    starts = starts_of_clinic(clinic)
    stations = list(clinic.stations.all())
    wanted = Wanted()
    for swim in swims:
        if swim.clips_gone_at is not None:
            continue  # they were deleted as the club's rules say, and do not come back
        following_s = next_start_s(starts, swim.start_at)
        for station in stations:
            best: dict[int, Cut] = {}
            why: dict[int, str] = {}
            for source in sources[station.pk]:
                for pass_no, found in _cuts_from(swim, station, source, following_s):
                    if isinstance(found, str):
                        why[pass_no] = DROPPED if DROPPED in (found, why.get(pass_no)) else found
                    elif pass_no not in best or found.worth > best[pass_no].worth:
                        best[pass_no] = found
            wanted.cuts.extend(best[pass_no] for pass_no in sorted(best))
            if not sources[station.pk] and station.pk in unplaced:
                why = {one.pass_no: "" for one in _windows(swim, station, 0.0, following_s)}
            for pass_no in sorted(why.keys() - best.keys()):
                reason = why[pass_no]
                if reason != DROPPED:  # it may lie in a recording whose place is not known
                    reason = unplaced.get(station.pk, NOT_RECORDED)
                wanted.left_out.append(LeftOut(swim, station, pass_no, reason))
    return wanted


def _sources(
    clinic: Clinic, drops: Iterable[Drop], coarse_too: bool
) -> tuple[dict[Any, list[_Source]], dict[Any, str]]:
    """By station: what can be cut from, and why other recordings of it cannot."""
    drops = list(drops)
    rows = Recording.objects.filter(station__clinic=clinic, state=Recording.State.READY)
    sources: dict[Any, list[_Source]] = defaultdict(list)
    unplaced: dict[Any, str] = {}
    for row in rows.select_related("station", "frame_table", "motion", "clock_fit"):
        fit: ClockFit | None = getattr(row, "clock_fit", None)
        if fit is None or fit.state == ClockFit.State.NOT_FOUND:
            unplaced[row.station_id] = NO_CLOCK
        elif fit.method == FILE_DATE and not coarse_too:
            unplaced.setdefault(row.station_id, ONLY_DATE)
        else:
            dropped = [
                (from_ - CLEAR_TICKS, to + CLEAR_TICKS) for from_, to in clip_spans_on(row, drops)
            ]
            sources[row.station_id].append(
                _Source(row, fit, frames_of(row), dropped, _seen_in(row))
            )
    return sources, unplaced


def _windows(swim: Swim, station: Station, u_s: float, following_s: float | None) -> list[Window]:
    clinic = swim.entry.clinic
    return windows_for(
        kind=station.kind,
        x_m=station.x_m,
        given=station.windows,
        course_m=clinic.course_m,
        distance_m=clinic.distance_m,
        pace_s_per_100m=swim.entry.pace_s_per_100m,
        u_s=u_s,
        next_start_s=following_s,
    )


def _cuts_from(
    swim: Swim, station: Station, source: _Source, following_s: float | None
) -> Iterator[tuple[int, Cut | str]]:
    """For each pass the clip that this recording gives, or why it gives none."""
    fit, recording = source.fit, source.recording
    begins_s = source.swim_s(swim, 0)
    ends_s = source.swim_s(swim, media_s_to_ticks(recording.duration_s or 0.0))
    dropped_s = [(source.swim_s(swim, a), source.swim_s(swim, b)) for a, b in source.dropped]
    u_s = ((fit.u_ms or 0.0) ** 2 + swim.start_u_ms**2) ** 0.5 / 1000
    for window in _windows(swim, station, u_s, following_s):
        told = told_by_motion(window, _moving(swim, source, window))
        held = clip_to(told, begins_s, ends_s)
        clear = keep_clear(held, dropped_s) if held is not None else None
        if clear is None:
            yield window.pass_no, DROPPED if held is not None else NOT_RECORDED
            continue
        cut = _cut(swim, station, source, clear)
        if cut is None:
            yield window.pass_no, NOT_RECORDED
            continue
        plain = clip_to(window, begins_s, ends_s)
        plain = keep_clear(plain, dropped_s) if plain is not None else None
        if plain is not None:
            ends = source.ticks(swim, plain.in_s), source.ticks(swim, plain.out_s)
            cut = replace(cut, plain_ticks=ends)
        yield window.pass_no, cut


def _cut(swim: Swim, station: Station, source: _Source, window: Window) -> Cut | None:
    fit = source.fit
    in_ticks, out_ticks = source.ticks(swim, window.in_s), source.ticks(swim, window.out_s)
    first, count = frames_between(source.frames, in_ticks, out_ticks)
    if count == 0:
        return None
    covers_s = window.seen_to_s - window.seen_from_s + (window.out_s - window.in_s) / 1000
    return Cut(
        swim=swim,
        station=station,
        recording=source.recording,
        window=window,
        in_ticks=in_ticks,
        out_ticks=out_ticks,
        first_frame=first,
        frame_count=count,
        time_state=fit.state,
        plain_ticks=(in_ticks, out_ticks),
        worth=(round(covers_s, 3), fit.state == ClockFit.State.SURE, -(fit.u_ms or 0.0)),
    )


# --- what moves --------------------------------------------------------------------------------


def _seen_in(recording: Recording) -> Sequence[Seen]:
    """What passed the camera; nothing before the recording was looked through."""
    profile = motion_of(recording)
    if profile is None:
        return []
    return passes_seen(profile.ticks / TICKS_PER_S, profile.energy)


def _moving(swim: Swim, source: _Source, window: Window) -> tuple[float, float] | None:
    """When somebody moves in picture during the window, in swim_s, if that is clear."""
    if not source.seen:
        return None
    spans = (window.seen_from_s, window.seen_to_s, window.in_s, window.out_s)
    at_s = [ticks_to_media_s(source.ticks(swim, one)) for one in spans]
    found = window_from_motion(source.seen, *at_s)
    if found is None:
        return None
    from_s, to_s = (source.swim_s(swim, media_s_to_ticks(one)) for one in found)
    return from_s, to_s
