"""What the check board shows, gathered with a fixed number of questions to the database."""

from __future__ import annotations

import datetime as dt
import uuid
from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db.models import Prefetch
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from clinics.actions.check import is_passed_whole, reasons_not_to_pass, who_agrees
from clinics.compute import overview
from clinics.compute.sureness import Sureness, within
from clinics.compute.time import clinic_instant, ticks_to_media_s, to_epoch_s
from clinics.models import Clinic, Clip, ClipFile, Recognised, Recording, Station, Swim
from clinics.views.words import sure_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from portal.models import User

LOOK_FIRST, BEING_MADE, READY, PASSED = range(4)


@dataclass(frozen=True)
class Column:
    """A station, or one pass by it where a swim goes by more than once."""

    station: Station
    pass_no: int
    many: bool


@dataclass(frozen=True)
class View:
    """One clip in a cell: its still, and how sure its time is."""

    clip: Clip
    poster: ClipFile | None
    video: ClipFile | None
    state: str  # of the time: sure, look, not-found
    within: str

    @property
    def sign(self) -> str:
        """The class of its state's sign."""
        return {"sure": "", "look": "look"}.get(self.state, "unknown")


@dataclass(frozen=True)
class Cell:
    column: Column
    views: Sequence[View]


@dataclass(frozen=True)
class Row:
    swim: Swim
    cells: Sequence[Cell]
    place: int
    reasons: Sequence[str]
    others: Sequence[str]

    @property
    def said_not_me(self) -> bool:
        return self.swim.person == Swim.Person.WRONG

    @property
    def made_again(self) -> bool:
        """Passed on once, and clips were made since that nobody has looked at."""
        return self.swim.passed_at is not None and self.place != PASSED


@dataclass(frozen=True)
class Group:
    name: str
    rows: Sequence[Row]


@dataclass(frozen=True)
class Tick:
    x: float
    at: dt.datetime


@dataclass(frozen=True)
class Board:
    columns: Sequence[Column]
    groups: Sequence[Group]
    swim_count: int
    clip_count: int
    times: dict[str, int]
    confirmed: int
    ready: Sequence[Swim]
    not_shown: int
    strip: overview.Overview | None
    ticks: Sequence[Tick]
    lanes_told: Sequence[str]


def swims_to_check(clinic: Clinic, user: User) -> list[Swim]:
    """The clinic's swims as the checker may see them, with all that is shown of them."""
    clips = Clip.objects.handled_by(user).select_related("station", "recording__clock_fit")
    files = ClipFile.objects.handled_by(user).filter(kind__in=["poster", "video"])
    return list(
        Swim.objects.handled_by(user)
        .filter(entry__clinic=clinic)
        .select_related("entry__swimmer", "entry__lane_group", "person_by")
        .prefetch_related(
            Prefetch("clips", clips.prefetch_related(Prefetch("files", files))),
            Prefetch("recognised", Recognised.objects.select_related("swimmer")),
        )
        .order_by("start_at", "pk")
    )


def view_of(clip: Clip) -> View:
    """How one clip is shown; asks nothing when fit and files were fetched with it."""
    fit = getattr(clip.recording, "clock_fit", None)
    files = list(clip.files.all())
    videos = sorted((f for f in files if f.kind == "video"), key=lambda f: f.height or 0)
    return View(
        clip=clip,
        poster=next((f for f in files if f.kind == "poster"), None),
        video=next((f for f in videos if (f.height or 0) >= 360), videos[-1] if videos else None),
        state=clip.time_state,
        within=_within(fit.u_ms if fit else None, clip.recording.nominal_fps),
    )


def _within(u_ms: float | None, fps: float | None) -> str:
    """How far off the time may be; its state stands beside it."""
    sure = within(u_ms=u_ms, frame_ms=1000 / fps if fps else None)
    return "" if sure.kind is Sureness.NOT_FOUND else sure_words(sure)


def board_of(clinic: Clinic, user: User) -> Board:
    swims = swims_to_check(clinic, user)
    stations = list(clinic.stations.all())
    columns = _columns(stations, swims)
    agreeing = who_agrees(swims)
    rows = [_row(swim, columns, agreeing) for swim in swims]
    clips = [clip for swim in swims for clip in swim.clips.all()]
    strip, ticks, told = _strip(clinic, user, stations, clips)
    return Board(
        columns=columns,
        groups=_groups(rows),
        swim_count=len(swims),
        clip_count=len(clips),
        times=_times(rows),
        confirmed=sum(swim.person == Swim.Person.CONFIRMED for swim in swims),
        ready=[row.swim for row in rows if row.place == READY],
        not_shown=Swim.objects.filter(entry__clinic=clinic).count() - len(swims),
        strip=strip,
        ticks=ticks,
        lanes_told=told,
    )


def _columns(stations: Sequence[Station], swims: Sequence[Swim]) -> list[Column]:
    passes: dict[uuid.UUID, set[int]] = {station.pk: {1} for station in stations}
    for swim in swims:
        for clip in swim.clips.all():
            passes[clip.station_id].add(clip.pass_no)
    return [
        Column(station, pass_no, many=len(passes[station.pk]) > 1)
        for station in stations
        for pass_no in sorted(passes[station.pk])
    ]


def _row(swim: Swim, columns: Sequence[Column], agreeing: set[uuid.UUID]) -> Row:
    views: dict[tuple[uuid.UUID, int], list[View]] = {}
    for clip in swim.clips.all():
        views.setdefault((clip.station_id, clip.pass_no), []).append(view_of(clip))
    cells = [Cell(c, views.get((c.station.pk, c.pass_no), [])) for c in columns]
    reasons = reasons_not_to_pass(swim, agreeing)
    others = [row.swimmer.name for row in swim.recognised.all()]
    return Row(swim, cells, _place(swim, reasons), reasons, others)


def _place(swim: Swim, reasons: Sequence[str]) -> int:
    if not reasons:
        return PASSED if is_passed_whole(swim) else READY
    looked_at = swim.person == Swim.Person.CONFIRMED and swim.others_recorded_at is not None
    making = any(clip.state in {"waiting", "rendering"} for clip in swim.clips.all())
    return BEING_MADE if looked_at and making else LOOK_FIRST


def _urgency(row: Row) -> tuple[bool, int]:
    """Within a group: what a swimmer said first, then what has no sure time."""
    states = [view.state for cell in row.cells for view in cell.views]
    unsure = states.count("look") + sum(not cell.views for cell in row.cells)
    return (not row.said_not_me, -unsure)


def _groups(rows: Sequence[Row]) -> list[Group]:
    names = {
        LOOK_FIRST: _("Look at these first"),
        BEING_MADE: _("Looked at, clips still being made"),
        READY: _("Ready to pass on"),
        PASSED: _("Passed to the coaches"),
    }
    groups = [
        Group(name, sorted((row for row in rows if row.place == place), key=_urgency))
        for place, name in names.items()
    ]
    return [group for group in groups if group.rows]


def _times(rows: Sequence[Row]) -> dict[str, int]:
    cells = [cell for row in rows for cell in row.cells]
    counts = Counter(view.state for cell in cells for view in cell.views)
    missing = sum(not cell.views for cell in cells)
    return {
        "sure": counts["sure"],
        "look": counts["look"],
        "not_found": counts["not-found"] + missing,
    }


# --- the strip: when each station recorded, and where clips were cut from it -----------------


def _strip(
    clinic: Clinic, user: User, stations: Sequence[Station], clips: Sequence[Clip]
) -> tuple[overview.Overview | None, list[Tick], list[str]]:
    recordings = Recording.objects.handled_by(user).filter(station__clinic=clinic)
    found = [r for r in recordings.select_related("clock_fit") if _zero_at(r) and r.duration_s]
    if not found:
        return None, [], []
    zone = clinic.zone
    midnight = dt.datetime.combine(clinic.date, dt.time(), tzinfo=zone)
    lanes = [
        overview.Lane(
            name=station.name,
            recorded_s=[
                _span(r, 0.0, r.duration_s or 0.0, midnight)
                for r in found
                if r.station_id == station.pk
            ],
            clips_s=[
                _span(
                    clip.recording,
                    ticks_to_media_s(clip.in_ticks),
                    ticks_to_media_s(clip.out_ticks),
                    midnight,
                )
                for clip in clips
                if clip.station_id == station.pk and _zero_at(clip.recording)
            ],
        )
        for station in stations
    ]
    drawing = overview.draw(lanes)
    steps = drawing.steps if drawing else ()
    ticks = [Tick(s.x, (midnight + dt.timedelta(seconds=s.at_s)).astimezone(zone)) for s in steps]
    return drawing, ticks, [_told(lane) for lane in lanes]


def _zero_at(recording: Recording) -> dt.datetime | None:
    fit = getattr(recording, "clock_fit", None)
    return fit.zero_at if fit else None


def _span(
    recording: Recording, from_media_s: float, to_media_s: float, since: dt.datetime
) -> tuple[float, float]:
    zero_at, rate_ppm = _zero_at(recording), recording.clock_fit.rate_ppm
    assert zero_at is not None  # only recordings whose clock is found are drawn
    ends = [clinic_instant(zero_at, rate_ppm, s) for s in (from_media_s, to_media_s)]
    return to_epoch_s(ends[0], since), to_epoch_s(ends[1], since)


def _told(lane: overview.Lane) -> str:
    """The lane's twin in words."""
    count = len(lane.recorded_s)
    told = ngettext("%(name)s: %(count)d recording", "%(name)s: %(count)d recordings", count)
    cut = ngettext("%(count)d clip", "%(count)d clips", len(lane.clips_s))
    first = told % {"name": lane.name, "count": count}
    return f"{first}, {cut % {'count': len(lane.clips_s)}}"
