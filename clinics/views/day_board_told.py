"""What the day board tells, in words."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from clinics.actions.day_board import PhoneNow, StationNow
from clinics.actions.pool_hour_day import DayOf
from clinics.compute.phone_clock import BRIDGED, TIED, UNKNOWN
from clinics.compute.rotation import Part, Slot
from clinics.models import Clinic, Entry, StationWord
from clinics.views.hour_strip import lane_of_day
from clinics.views.hour_words import length, minutes
from portal.compute.lane_strip import Lane

AROUND = dt.timedelta(hours=2)
"""So long before and after the pool time the board is that of the day."""
ON_TIME_S = 45.0
NEXT_SHOWN = 3
QUIET_S = 120.0  # a phone that sends every few seconds has no network then


class Stage(StrEnum):
    BEFORE, ON, OVER = "before", "on", "over"


@dataclass(frozen=True)
class NextUp:
    entry: Entry
    at: dt.datetime
    why: str


@dataclass(frozen=True)
class Board:
    """`waited_for`: who was awaited and has not gone when the hour is over."""

    stage: Stage
    live: bool
    now: dt.datetime
    begins_at: dt.datetime
    in_lane: Entry | None
    in_lane_since: dt.datetime | None
    next_up: Sequence[NextUp]
    gone: str
    standing: str
    behind: bool
    ends: str
    over_time: Sequence[Entry]
    late: Sequence[tuple[Entry, dt.datetime]]
    skipped: Sequence[Entry]
    no_shows: Sequence[Entry]
    second: Sequence[NextUp]
    no_second: Sequence[Entry]
    waited_for: Sequence[Entry]
    other_day: int
    lane: Lane


def board_of(found: DayOf, now: dt.datetime, *, look_back: bool) -> Board:
    plan, day = found.planned, found.day
    stage = Stage.ON if look_back else stage_of(found, now)
    coming = [_next(found, slot) for slot in day.slots] if stage is not Stage.OVER else []
    in_lane = found.in_lane if stage is Stage.ON else None
    ordered = list(plan.entries.values())
    waited_for = {slot.key for slot in day.slots if slot.go_no == 1}
    return Board(
        stage=stage,
        live=stage is Stage.ON and not look_back,
        now=now.astimezone(plan.clinic.zone),
        begins_at=plan.at(0),
        in_lane=plan.entries[_key(in_lane)] if in_lane else None,
        in_lane_since=plan.at(in_lane.start_s) if in_lane else None,
        next_up=coming[:NEXT_SHOWN],
        gone=_gone(found),
        standing=standing(found, stage),
        behind=stage is Stage.ON and found.slip_s >= ON_TIME_S,
        ends=_ends(found, stage),
        over_time=[plan.entries[int(str(key))] for key in day.over_time]
        if stage is Stage.ON
        else [],
        late=[(plan.entries[n], at.astimezone(plan.clinic.zone)) for n, at in found.late.items()],
        skipped=[one for one in ordered if one.number in found.skipped],
        no_shows=[one for one in ordered if one.number in found.no_shows],
        second=[_next(found, slot) for slot in day.slots if slot.part is Part.SECOND],
        no_second=[plan.entries[int(str(key))] for key in day.no_second],
        waited_for=[o for o in ordered if o.number in waited_for] if stage is Stage.OVER else [],
        other_day=found.other_day,
        lane=lane_of_day(found, live=stage is not Stage.OVER),
    )


def stage_of(found: DayOf, now: dt.datetime) -> Stage:
    plan = found.planned
    if now < plan.at(0) - AROUND:
        return Stage.BEFORE
    ends_at = plan.at(max(plan.timetable.hour.pool_time_s, plan.timetable.ends_s))
    closed = plan.clinic.state == Clinic.State.CLOSED
    return Stage.OVER if closed or now > ends_at + AROUND else Stage.ON


def _key(slot: Slot) -> int:
    return int(str(slot.key))


def _next(found: DayOf, slot: Slot) -> NextUp:
    words = {
        Part.LATE: _("at the end of their group"),
        Part.LAST: _("after all groups"),
        Part.SECOND: _("second go"),
    }
    plan = found.planned
    why = words.get(slot.part) or _("group %(name)s") % {"name": slot.group}
    return NextUp(plan.entries[_key(slot)], plan.at(slot.start_s), why)


def _gone(found: DayOf) -> str:
    told = _("Gone: %(gone)d of %(count)d.")
    gone = len({slot.key for slot in found.day.done})
    return told % {"gone": gone, "count": len(found.planned.entries)}


def standing(found: DayOf, stage: Stage) -> str:
    """Where the clinic stands against its timetable."""
    plan, slip_s = found.planned, found.slip_s
    if stage is Stage.BEFORE:
        begins = date_format(plan.at(0), "DATE_FORMAT"), date_format(plan.at(0), "H:i")
        return _("Begins on %(day)s at %(time)s.") % {"day": begins[0], "time": begins[1]}
    if stage is Stage.ON and not found.day.done and slip_s < ON_TIME_S:
        if found.day.now_s <= 0:
            return _("Begins at %(time)s.") % {"time": date_format(plan.at(0), "H:i")}
        return _("Nobody has started yet.")
    if abs(slip_s) < ON_TIME_S:
        return _("On time.") if stage is Stage.ON else _("It went on time.")
    by = {"time": minutes(max(1, round(abs(slip_s) / 60)))}
    if stage is Stage.OVER:
        return (_("It ended %(time)s late.") if slip_s > 0 else _("It ended %(time)s early.")) % by
    return (_("%(time)s behind the timetable.") if slip_s > 0 else _("%(time)s ahead.")) % by


def _ends(found: DayOf, stage: Stage) -> str:
    plan, day = found.planned, found.day
    if stage is not Stage.ON:
        return ""
    out = date_format(plan.at(day.ends_s), "H:i")
    left = length(abs(day.spare_s), up=day.spare_s < 0)
    if day.spare_s < 0:
        told = _("The last would be out at %(time)s, %(left)s after the pool time.")
    else:
        told = _("The last is out at %(time)s, %(left)s to spare.")
    return told % {"time": out, "left": left}


# --- stations and phones ----------------------------------------------------------------------


@dataclass(frozen=True)
class StationTold:
    """`sign`: the class of its state."""

    now: StationNow
    told: str
    sign: str


def station_told(now: StationNow) -> StationTold:
    words = {
        StationWord.State.ROLLING: (_("rolling"), ""),
        StationWord.State.STOPPED: (_("stopped"), "unknown"),
        StationWord.State.BATTERY: (_("battery is low"), "look"),
    }
    told, sign = words.get(StationWord.State(now.state), ("", "")) if now.state else ("", "")
    return StationTold(now, told or _("nothing said yet"), sign if told else "busy")


def rolling(stations: Sequence[StationNow]) -> str:
    count = sum(one.state == StationWord.State.ROLLING for one in stations)
    told = ngettext(
        "%(rolling)d of %(count)d station is rolling.",
        "%(rolling)d of %(count)d stations are rolling.",
        len(stations),
    )
    return told % {"rolling": count, "count": len(stations)}


@dataclass(frozen=True)
class PhoneTold:
    name: str
    heard_at: dt.datetime
    heard: str
    quiet: bool
    unsent: int
    clock: str
    clock_sign: str
    doubtful: int


def phone_told(one: PhoneNow, now: dt.datetime) -> PhoneTold:
    ago_s = max(0.0, (now - one.phone.heard_at).total_seconds())
    told, sign = _clock(one)
    return PhoneTold(
        name=str(one.phone),
        heard_at=one.phone.heard_at,
        heard=_("%(time)s ago")
        % {"time": length(ago_s) if ago_s >= 1 else _("%(n)d s") % {"n": 0}},
        quiet=ago_s > QUIET_S,
        unsent=one.phone.unsent,
        clock=told,
        clock_sign=sign,
        doubtful=one.clock.doubtful if one.clock else 0,
    )


def _clock(one: PhoneNow) -> tuple[str, str]:
    """Twice the standard uncertainty covers (clinics/compute/phone_clock/exchange.py)."""
    clock = one.clock
    if clock is None or clock.state == UNKNOWN or clock.u_ms is None:
        return _("clock not known yet"), "unknown"
    within = _("within %(seconds).2f s") % {"seconds": max(0.01, 2 * clock.u_ms / 1000)}
    if clock.state == TIED:
        return _("clock known through another phone, %(within)s") % {"within": within}, ""
    if clock.state == BRIDGED:
        return _("clock by the phone's time of day, %(within)s") % {"within": within}, "look"
    return _("clock known %(within)s") % {"within": within}, ""
