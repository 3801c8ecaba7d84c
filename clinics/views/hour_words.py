"""A pool hour in words: whether it fits, why its gap is what it is, what would make it fit."""

from __future__ import annotations

import math
from dataclasses import dataclass

from django.utils.formats import number_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from clinics.actions.pool_hour import Planned
from clinics.compute.rotation import Change, GroupRow, Way, in_lane_s


@dataclass(frozen=True)
class Sentence:
    """`lead` stands first and bold, `more` after it."""

    fits: bool
    lead: str
    more: str


@dataclass(frozen=True)
class WayTold:
    change: str
    told: str
    gives: str
    fits: bool


def sentence(plan: Planned) -> Sentence:
    said = plan.capacity
    need_min = math.ceil(plan.timetable.ends_s / 60)
    need = ngettext(
        "%(count)d swimmer needs %(minutes)s at the expected pace.",
        "%(count)d swimmers need %(minutes)s at their paces.",
        said.swimmers,
    ) % {"count": said.swimmers, "minutes": minutes(need_min)}
    lead = f"{need} {_is_yours(plan)} {_spare(said.spare_s)}"
    return Sentence(said.fits, lead, f"{_gaps(plan)} {_how_many(plan)}")


def _is_yours(plan: Planned) -> str:
    kept_s = plan.hour.reserve_s
    if not kept_s:
        return _("The pool is yours for %(minutes)s:") % {"minutes": minutes(plan.hour.minutes)}
    return _("The pool is yours for %(minutes)s, of which %(kept)s are kept back:") % {
        "minutes": minutes(plan.hour.minutes),
        "kept": length(kept_s),
    }


def _spare(spare_s: float) -> str:
    if spare_s < 0:
        return _("%(time)s too short.") % {"time": length(-spare_s, up=True)}
    return _("%(time)s spare.") % {"time": length(spare_s)}


def _gaps(plan: Planned) -> str:
    gaps = sorted({row.gap_s for row in plan.timetable.rows})
    if len(gaps) == 1:
        told = _("The next swimmer goes when the one before is out of the lane: every %(gap)d s.")
        return told % {"gap": gaps[0]}
    told = _(
        "The next swimmer goes when the one before is out of the lane: every %(least)d to "
        "%(most)d s by group."
    )
    return told % {"least": gaps[0], "most": gaps[-1]}


def _how_many(plan: Planned) -> str:
    said = plan.capacity
    if not said.fits:
        told = ngettext(
            "The first %(count)d in running order fits.",
            "The first %(count)d in running order fit.",
            said.that_fit,
        )
        return told % {"count": said.that_fit} if said.that_fit else _("Not one go fits.")
    group = plan.timetable.rows[-1].group
    if not said.more:
        return _("One more at the pace of group %(group)s would not fit.") % {"group": group}
    told = ngettext(
        "%(count)d more at the pace of group %(group)s would fit, %(next)d would not.",
        "%(count)d more at the pace of group %(group)s would fit, %(next)d would not.",
        said.more,
    )
    return told % {"count": said.more, "next": said.more + 1, "group": group}


def why_gap(plan: Planned, row: GroupRow) -> str:
    """Whose time makes the gap of a lane group."""
    hour = plan.timetable.hour
    its = [goer for goer in plan.timetable.goers if goer.group == row.group]
    slowest = max(its, key=lambda goer: goer.pace_s_per_100m)
    entry = plan.entries[int(str(slowest.key))]
    told = _(
        "%(gap)d s from start to start: %(who)s is expected to swim %(swims)s s, and takes "
        "%(climbs)s s to climb out."
    )
    return told % {
        "gap": row.gap_s,
        "who": f"{entry.number} {entry.swimmer.name}",
        "swims": number_format(round(in_lane_s(hour, slowest) - hour.climbing_out_s)),
        "climbs": number_format(round(hour.climbing_out_s)),
    }


def ways(plan: Planned) -> list[WayTold]:
    """Each by itself."""
    return [WayTold(way.change, _way(plan, way), gives(way), way.fits) for way in plan.ways]


def gives(way: Way) -> str:
    return gives_words(way.spare_s, way.gains_s)


def gives_words(spare_s: float, gains_s: float) -> str:
    saved = {"saved": length(gains_s), "left": length(abs(spare_s), up=spare_s < 0)}
    if spare_s < 0:
        return _("saves %(saved)s, still %(left)s too short") % saved
    return _("saves %(saved)s: fits, %(left)s spare") % saved


def _way(plan: Planned, way: Way) -> str:
    hour = plan.timetable.hour
    value = number_format(way.to, decimal_pos=None if way.to % 1 else 0)
    if way.change is Change.BRIEF_ON_DECK:
        return _("Brief each group on deck while the one before swims.")
    if way.change is Change.SHORTER_BRIEFING:
        told = _("Brief each group for %(new)s s instead of %(old)d.")
        return told % {"new": value, "old": round(hour.briefing_s)}
    if way.change is Change.MOVE_SLOWEST:
        return _("Let swimmers go with a group of their pace: %(moves)s.") % {
            "moves": _moves(plan, way)
        }
    if way.change is Change.REGROUP:
        told = ngettext(
            "Make %(count)s even group by pace.", "Make %(count)s even groups by pace.", int(way.to)
        )
        return told % {"count": value}
    if way.change is Change.SHORTER_DISTANCE:
        told = _("Swim %(new)s m instead of %(old)s m each go.")
        return told % {"new": value, "old": number_format(hour.distance_m, decimal_pos=None)}
    if way.change is Change.FEWER_SWIMMERS:
        told = ngettext(
            "Take the first %(count)s swimmer only.", "Take the first %(count)s only.", int(way.to)
        )
        return told % {"count": value}
    told = _("Ask for %(new)s of the pool instead of %(old)d.")
    return told % {"new": minutes(round(way.to / 60)), "old": plan.hour.minutes}


def _moves(plan: Planned, way: Way) -> str:
    told = _("%(who)s with group %(group)s")
    return ", ".join(
        told % {"who": plan.entries[int(str(move.key))], "group": move.to_group}
        for move in way.moves
    )


def minutes(count: int) -> str:
    return ngettext("%(count)d minute", "%(count)d minutes", count) % {"count": count}


def length(seconds: float, *, up: bool = False) -> str:
    """Whole minutes, down (or up); what is less than one in seconds."""
    if seconds < 60 and seconds != 0:
        whole = math.ceil(seconds) if up else math.floor(seconds)
        return _("%(seconds)d s") % {"seconds": whole}
    return minutes(math.ceil(seconds / 60) if up else math.floor(seconds / 60))
