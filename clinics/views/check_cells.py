"""The cells of the check board: the clips of one pass, or why there is no picture of it."""

from __future__ import annotations

import datetime as dt
import uuid
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from django.utils.translation import gettext as _

from clinics.compute.sureness import Sureness, within
from clinics.compute.time import media_s_at, media_s_to_ticks, swim_instant, ticks_to_media_s
from clinics.compute.windows import windows_for
from clinics.models import Clip, ClipFile, DroppedSpan, Recording, Station, Swim
from clinics.views.words import sure_words

if TYPE_CHECKING:
    from clinics.models import Clinic

STILLS_OF_A_STRIP = 10  # at most (clinics/media/render_plan.py)
LEAST_MISSING_S = 0.1
IN_THE_AIR_S = 0.6  # after the start: its still
CARD_BEFORE_S = 4.0  # before it the number card is held up, near enough


@dataclass(frozen=True)
class Column:
    """A station, or one pass by it where a swim goes by more than once."""

    station: Station
    pass_no: int
    many: bool

    @property
    def is_start(self) -> bool:
        """Where the number card is shown."""
        return self.station.kind == Station.Kind.START_SIDE and self.pass_no == 1


@dataclass(frozen=True)
class View:
    """One clip in a cell: its still, and how sure its time is.

    `at_s`: the instant of passing, in seconds of the clip, as its still shows it.
    """

    clip: Clip
    poster: ClipFile | None
    video: ClipFile | None
    state: str  # of the time: sure, look, not-found
    within: str
    strip: ClipFile | None = None
    at_s: float | None = None

    @property
    def sign(self) -> str:
        """The class of its state's sign."""
        return {"sure": "", "look": "look"}.get(self.state, "unknown")

    @property
    def still_count(self) -> int:
        return min(STILLS_OF_A_STRIP, self.clip.frame_count)

    @property
    def missing(self) -> str:
        """How much of the pass is not in the clip, and why."""
        if self.clip.missing_s < LEAST_MISSING_S:
            return ""
        return _("%(seconds).1f s of it missing: %(why)s") % {
            "seconds": self.clip.missing_s,
            "why": self.clip.get_missing_by_display(),
        }

    @property
    def being_made(self) -> bool:
        return self.clip.state in {Clip.State.WAITING, Clip.State.RENDERING}


@dataclass(frozen=True)
class Cell:
    column: Column
    views: Sequence[View]
    why_none: str = ""


def view_of(clip: Clip, swim: Swim | None = None) -> View:
    """How one clip is shown; asks nothing when fit and files were fetched with it."""
    fit = getattr(clip.recording, "clock_fit", None)
    files = list(clip.files.all())
    videos = sorted((f for f in files if f.kind == "video"), key=lambda f: f.height or 0)
    return View(
        clip=clip,
        poster=next((f for f in files if f.kind == "poster"), None),
        video=next((f for f in videos if (f.height or 0) >= 360), videos[-1] if videos else None),
        state=clip.time_state,
        within=within_words(fit.u_ms if fit else None, clip.recording.nominal_fps),
        strip=next((f for f in files if f.kind == "strip"), None),
        at_s=_at_s(clip, swim) if swim else None,
    )


def _start_s(clip: Clip, swim: Swim) -> float | None:
    """The start, in seconds of the clip; negative before its first frame."""
    fit = getattr(clip.recording, "clock_fit", None)
    if fit is None or fit.zero_at is None:
        return None
    start_s = media_s_at(fit.zero_at, fit.rate_ppm, swim.start_at)
    return start_s - ticks_to_media_s(clip.in_ticks)


def _at_s(clip: Clip, swim: Swim) -> float | None:
    """As clinics/actions/render_clips.py chooses the still; within the clip."""
    start_s = _start_s(clip, swim)
    if start_s is None:
        return None
    middle_s = (clip.seen_from_s + clip.seen_to_s) / 2
    if clip.seen_from_s < 0:
        middle_s = min(middle_s, IN_THE_AIR_S)
    last_s = ticks_to_media_s(clip.out_ticks - clip.in_ticks)
    return round(min(max(start_s + middle_s, 0.0), last_s), 3)


def within_words(u_ms: float | None, fps: float | None) -> str:
    """How far off the time may be; its state stands beside it."""
    sure = within(u_ms=u_ms, frame_ms=1000 / fps if fps else None)
    return "" if sure.kind is Sureness.NOT_FOUND else sure_words(sure)


# --- why there is no picture -------------------------------------------------------------------


@dataclass
class Filmed:
    """What the cameras of a clinic recorded, to say why a pass is in no picture."""

    clinic: Clinic
    by_station: dict[uuid.UUID, list[Recording]] = field(default_factory=dict)
    dropped: dict[uuid.UUID, list[tuple[int, int]]] = field(default_factory=dict)

    @classmethod
    def of(cls, clinic: Clinic, recordings: Iterable[Recording]) -> Filmed:
        """`recordings` with their clock fits; the dropped spans are asked for here."""
        filmed = cls(clinic)
        for recording in recordings:
            filmed.by_station.setdefault(recording.station_id, []).append(recording)
        spans = DroppedSpan.objects.filter(recording__station__clinic=clinic)
        dropped: defaultdict[uuid.UUID, list[tuple[int, int]]] = defaultdict(list)
        for pk, begin, end in spans.values_list("recording_id", "from_ticks", "to_ticks"):
            dropped[pk].append((begin, end))
        filmed.dropped = dict(dropped)
        return filmed

    def why_none(self, swim: Swim, column: Column) -> str:
        """Why no clip shows this pass, in words; what can be mended is said first."""
        takes = self.by_station.get(column.station.pk, [])
        if not takes:
            return _("nothing was brought in from this camera")
        instant = self._expected(swim, column)
        if instant is None:
            return _("the swim does not come by here so often")
        for take in takes:
            ticks = _ticks_at(take, instant)
            if ticks is not None and 0 <= ticks < media_s_to_ticks(take.duration_s or 0.0):
                spans = self.dropped.get(take.pk, [])
                if any(begin <= ticks < end for begin, end in spans):
                    return _("left out: somebody swam then who did not agree to be filmed")
                return _("not cut yet")
        return _why_not_placed(takes) or _("the camera did not run")

    def card_is_there(self, swim: Swim) -> bool:
        """Whether a camera at the start ran when the number card was held up."""
        instant = swim_instant(swim.start_at, -CARD_BEFORE_S)
        return any(
            (ticks := _ticks_at(take, instant)) is not None
            and 0 <= ticks < media_s_to_ticks(take.duration_s or 0.0)
            for takes in self.by_station.values()
            for take in takes
            if take.station.kind == Station.Kind.START_SIDE
        )

    def _expected(self, swim: Swim, column: Column) -> dt.datetime | None:
        station, clinic = column.station, self.clinic
        windows = windows_for(
            kind=station.kind,
            x_m=station.x_m,
            given=station.windows,
            course_m=clinic.course_m,
            distance_m=clinic.distance_m,
            pace_s_per_100m=swim.entry.pace_s_per_100m,
        )
        for window in windows:
            if window.pass_no == column.pass_no:
                middle_s = (window.seen_from_s + window.seen_to_s) / 2
                return swim_instant(swim.start_at, middle_s)
        return None


def _why_not_placed(takes: Sequence[Recording]) -> str:
    """One of them may hold the pass, and nobody knows which."""
    if any(take.state in {Recording.State.WAITING, Recording.State.INDEXING} for take in takes):
        return _("a recording is still being read")
    if any(take.state == Recording.State.FAILED for take in takes):
        return _("a recording could not be read")
    if any(_zero_at(take) is None for take in takes):
        return _("the camera's clock is not found")
    return ""


def _zero_at(take: Recording) -> dt.datetime | None:
    fit = getattr(take, "clock_fit", None)
    return fit.zero_at if fit else None


def _ticks_at(take: Recording, instant: dt.datetime) -> int | None:
    zero_at = _zero_at(take)
    if zero_at is None:
        return None
    return media_s_to_ticks(media_s_at(zero_at, take.clock_fit.rate_ppm, instant))


def column_views(swims: Sequence[Swim]) -> list[tuple[Column, list[View | None]]]:
    """The first clip of each swim at each pass that any of them has, side by side."""
    stations = {clip.station_id: clip.station for swim in swims for clip in swim.clips.all()}
    passes = {(clip.station_id, clip.pass_no) for swim in swims for clip in swim.clips.all()}
    many = {station for station, pass_no in passes if pass_no > 1}
    rows = []
    for pk, pass_no in sorted(passes, key=lambda one: (stations[one[0]].order, one[1])):
        side_by_side = [
            next(
                (
                    view_of(clip, swim)
                    for clip in swim.clips.all()
                    if (clip.station_id, clip.pass_no) == (pk, pass_no)
                ),
                None,
            )
            for swim in swims
        ]
        rows.append((Column(stations[pk], pass_no, pk in many), side_by_side))
    return rows
