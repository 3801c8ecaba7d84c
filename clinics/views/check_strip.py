"""The check board's lanes: when each station recorded, its starts, ties and clips, and what
is known of each recording's clock, in words."""

from __future__ import annotations

import datetime as dt
import uuid
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.urls import NoReverseMatch, reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from clinics.compute import overview
from clinics.compute.time import clinic_instant, ticks_to_media_s, to_epoch_s
from clinics.models import ClockFit, Recording, Swim, Tie
from clinics.views.check_cells import Filmed, within_words

if TYPE_CHECKING:
    from clinics.models import Clinic, Clip, Station


SURE = ClockFit.State.SURE


@dataclass(frozen=True)
class Tick:
    x: float
    at: dt.datetime


@dataclass(frozen=True)
class Take:
    """One recording in words, and where its fit is shown."""

    name: str
    told: str
    sign: str
    url: str


@dataclass(frozen=True)
class StationTold:
    """A station's lane in words. Where all its clocks are sure, `told` says it for all."""

    name: str
    filmed: str
    told: str
    takes: Sequence[Take]


@dataclass(frozen=True)
class Strip:
    """The drawing, or None where no clock is found, and its twin in words."""

    drawing: overview.Overview | None
    ticks: Sequence[Tick]
    stations: Sequence[StationTold]
    told: str  # of all clocks together, where each is sure
    midnight: dt.datetime

    def x_of(self, swim: Swim) -> float | None:
        """Where the swim's start stands."""
        if self.drawing is None:
            return None
        return self.drawing.x_at(to_epoch_s(swim.start_at, self.midnight))


def strip_of(
    clinic: Clinic,
    stations: Sequence[Station],
    takes: Sequence[Recording],
    filmed: Filmed,
    swims: Sequence[Swim],
) -> Strip:
    """`takes` with clock fit and camera; `swims` with their clips. Asks for the ties only."""
    midnight = dt.datetime.combine(clinic.date, dt.time(), tzinfo=clinic.zone)
    ties = _ties(clinic)
    by_station: defaultdict[uuid.UUID, list[Recording]] = defaultdict(list)
    for take in takes:
        by_station[take.station_id].append(take)
    clips = [clip for swim in swims for clip in swim.clips.all()]
    lanes = [
        _lane(station, by_station[station.pk], clips, ties, filmed, midnight)
        for station in stations
    ]
    starts = [swim.start_at for swim in swims]
    drawing = overview.draw(lanes, [to_epoch_s(start, midnight) for start in starts])
    steps = drawing.steps if drawing else ()
    at = [(midnight + dt.timedelta(seconds=s.at_s)).astimezone(clinic.zone) for s in steps]
    known = {take.pk: _known(take, ties, starts) for take in takes if _found(take)}
    told = [_station_told(station, by_station[station.pk], known) for station in stations]
    ticks = [Tick(step.x, instant) for step, instant in zip(steps, at, strict=True)]
    return Strip(drawing, ticks, told, _together(takes, known), midnight)


def _ties(clinic: Clinic) -> dict[uuid.UUID, list[tuple[int, str, str]]]:
    """PTS, kind and finder of the ties that count, by recording."""
    rows = Tie.objects.filter(recording__station__clinic=clinic, set_aside="")
    found: defaultdict[uuid.UUID, list[tuple[int, str, str]]] = defaultdict(list)
    for pk, ticks, kind, by in rows.values_list("recording_id", "pts_ticks", "kind", "found_by"):
        found[pk].append((ticks, kind, by))
    return dict(found)


# --- the drawing -------------------------------------------------------------------------------


def _lane(
    station: Station,
    takes: Sequence[Recording],
    clips: Sequence[Clip],
    ties: dict[uuid.UUID, list[tuple[int, str, str]]],
    filmed: Filmed,
    midnight: dt.datetime,
) -> overview.Lane:
    placed = [take for take in takes if _found(take) and take.duration_s]

    def at_s(take: Recording, ticks: int) -> float:
        return _at_s(take, ticks_to_media_s(ticks), midnight)

    return overview.Lane(
        name=station.name,
        recorded_s=[
            (_at_s(t, 0.0, midnight), _at_s(t, t.duration_s or 0.0, midnight)) for t in placed
        ],
        clips_s=[
            (at_s(clip.recording, clip.in_ticks), at_s(clip.recording, clip.out_ticks))
            for clip in clips
            if clip.station_id == station.pk and _found(clip.recording)
        ],
        ties_s=[at_s(take, ticks) for take in placed for ticks, _k, _b in ties.get(take.pk, [])],
        dropped_s=[
            (at_s(take, begin), at_s(take, end))
            for take in placed
            for begin, end in filmed.dropped.get(take.pk, [])
        ],
    )


def _found(take: Recording) -> bool:
    fit = getattr(take, "clock_fit", None)
    return fit is not None and fit.zero_at is not None


def _at_s(take: Recording, media_s: float, since: dt.datetime) -> float:
    zero_at, rate_ppm = take.clock_fit.zero_at, take.clock_fit.rate_ppm
    assert zero_at is not None  # only recordings whose clock is found are drawn
    return to_epoch_s(clinic_instant(zero_at, rate_ppm, media_s), since)


# --- in words ----------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Known:
    """What the ties say of a recording's clock: start signals heard, starts there were."""

    heard: int
    starts: int
    ties: int
    within: str
    state: str

    def words(self, several: bool = False) -> str:
        if self.heard and several:
            told = _("Clocks found from %(heard)d of %(starts)d start signals")
        elif self.heard:
            told = _("Clock found from %(heard)d of %(starts)d start signals")
        elif several:
            told = _("Clocks found from %(ties)d ties")
        else:
            told = ngettext(
                "Clock found from %(ties)d tie", "Clock found from %(ties)d ties", self.ties
            )
        said = told % {"heard": self.heard, "starts": self.starts, "ties": self.ties}
        if not self.within:
            return f"{said}."
        return _("%(found)s, right %(within)s from beginning to end.") % {
            "found": said,
            "within": self.within,
        }


def _known(
    take: Recording,
    ties: dict[uuid.UUID, list[tuple[int, str, str]]],
    starts: Sequence[dt.datetime],
) -> _Known:
    fit: ClockFit = take.clock_fit
    own = ties.get(take.pk, [])
    heard = sum(kind == Tie.Kind.START_HEARD and by == Tie.FoundBy.SOUND for _t, kind, by in own)
    last = clinic_instant(fit.zero_at, fit.rate_ppm, take.duration_s or 0.0)  # type: ignore[arg-type]
    there = sum(fit.zero_at <= start <= last for start in starts)  # type: ignore[operator]
    u_ms = max((u for u in (fit.u_ms, fit.u_begin_ms, fit.u_end_ms) if u is not None), default=None)
    count = len(own) or fit.tie_count
    return _Known(heard, max(there, heard), count, within_words(u_ms, take.nominal_fps), fit.state)


def _together(takes: Sequence[Recording], known: dict[uuid.UUID, _Known]) -> str:
    """What holds for all of them, if each is sure; for one alone its own words say it."""
    sure = [known[take.pk] for take in takes if take.pk in known]
    if not takes or len(sure) < len(takes) or {one.state for one in sure} != {SURE}:
        return ""
    together = _Known(
        heard=sum(one.heard for one in sure),
        starts=sum(one.starts for one in sure),
        ties=sum(one.ties for one in sure),
        within=sure[0].within if len({one.within for one in sure}) == 1 else "",
        state=SURE,
    )
    return together.words(several=len(sure) > 1)


def _station_told(
    station: Station, takes: Sequence[Recording], known: dict[uuid.UUID, _Known]
) -> StationTold:
    count = ngettext("%(count)d recording", "%(count)d recordings", len(takes))
    said = count % {"count": len(takes)}
    if length := _length(sum(take.duration_s or 0.0 for take in takes)):
        said = f"{said}, {length}"
    told = _together(takes, known) if len(takes) > 1 else ""
    return StationTold(station.name, said, told, [_take(t, known.get(t.pk)) for t in takes])


def _length(seconds: float) -> str:
    minutes, rest = divmod(round(seconds), 60)
    if not minutes:
        return _("%(seconds)d s") % {"seconds": rest} if rest else ""
    return _("%(minutes)d min %(seconds)d s") % {"minutes": minutes, "seconds": rest}


def _take(take: Recording, known: _Known | None) -> Take:
    name = f"{take.camera.name}, {take.order}"
    fit = getattr(take, "clock_fit", None)
    if take.state != Recording.State.READY:
        told = ": ".join(part for part in (take.get_state_display(), take.reason) if part)
        return Take(name, told, "busy" if take.state != Recording.State.FAILED else "unknown", "")
    if known is None or known.state == ClockFit.State.NOT_FOUND:
        reason = fit.reason if fit else ""
        told = _("Clock not found: %(reason)s") if reason else _("Clock not found.")
        return Take(name, told % {"reason": reason}, "unknown", _fit_url(take))
    if known.state == ClockFit.State.SURE:
        return Take(name, known.words(), "", _fit_url(take))
    reason = fit.reason if fit else ""
    told = _("The clock needs a look: %(reason)s") if reason else _("The clock needs a look.")
    return Take(name, told % {"reason": reason}, "look", _fit_url(take))


def _fit_url(take: Recording) -> str:
    try:
        return reverse("clinics:recording-fit", args=[take.pk])
    except NoReverseMatch:
        return reverse("clinics:recording", args=[take.pk])
