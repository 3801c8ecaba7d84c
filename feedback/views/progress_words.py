"""What pages of progress say of measures that differ, and how kinds of swims and parts of a swim
are called."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from django.utils.formats import date_format, number_format
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import pgettext

from clinics.models import Swim
from feedback.actions.progress import Alike, Series, difference
from feedback.compute.measuring.measure import Measure, Unit
from feedback.compute.measuring.notation import written
from feedback.compute.measuring.time_spent import Part
from feedback.compute.measuring.uncertain import Quantity
from feedback.views.measure_words import metres, name_of, with_plus_minus, with_unit

_More = Callable[[], str]


def kind_words(alike: Alike) -> str:
    """“Freestyle, from the block, 25 m pool”."""
    entry = alike.first.entry
    told = _("%(stroke)s, %(start)s, %(course)s pool")
    return told % {
        "stroke": capfirst(entry.get_stroke_display()),
        "start": entry.get_start_display(),
        "course": metres(entry.clinic.course_m),
    }


def swim_words(swim: Swim) -> str:
    """Which swim it is among others of the same person."""
    day = date_format(swim.entry.clinic.date, "j F Y")
    if swim.go == 1:
        return day
    return _("%(day)s, go %(go)d") % {"day": day, "go": swim.go}


def swim_in_short(swim: Swim) -> str:
    """As wide as a phone lets three of them stand beside each other."""
    return date_format(swim.entry.clinic.date, "j M Y")


@dataclass(frozen=True)
class Against:
    """The newest against last time's: what is said of it, and whether they differ by more than
    the ± of the difference."""

    sentence: str
    differs: bool


def against_before(series: Series) -> Against | None:
    """None: there is no other."""
    before = series.before()
    if before is None:
        return None
    newest = series.newest
    apart = difference(newest, before)
    when = _when(newest[0], before[0])
    if abs(apart.value) <= apart.half_width_95 or not apart.value:
        return Against(_no_difference(newest[1], when, apart), differs=False)
    shown = with_plus_minus(apart.times(1.0 if apart.value > 0 else -1.0), newest[1].unit)
    told = _differs(newest[1], more=apart.value > 0) % {
        "name": name_of(newest[1]),
        "distance": metres(newest[1].at_m or 0.0),
        "when": when,
        "value": shown,
    }
    return Against(told, differs=True)


def _when(newest: Swim, before: Swim) -> str:
    if newest.entry_id == before.entry_id:
        return _("in go %(go)d of the same day") % {"go": before.go}
    return _("on %(day)s") % {"day": swim_words(before)}


def _no_difference(measure: Measure, when: str, apart: Quantity) -> str:
    """The limit is rounded up, as each ± is."""
    w = written(apart)
    if not w.half_width:  # both are what they are
        return _("%(name)s: the same as %(when)s.") % {"name": name_of(measure), "when": when}
    limit = with_unit(number_format(w.half_width, w.decimals), measure.unit)
    told = _(
        "%(name)s: no difference from the swim %(when)s that could be told. It would have to be "
        "more than %(limit)s."
    )
    return told % {"name": name_of(measure), "when": when, "limit": limit}


def _differs(measure: Measure, *, more: bool) -> str:
    if measure.key == "time-to-distance":
        return (
            _("Slower to %(distance)s than %(when)s by %(value)s.")
            if more
            else _("Faster to %(distance)s than %(when)s by %(value)s.")
        )
    if measure.unit is Unit.M_PER_S:
        return (
            _("%(name)s: faster than %(when)s by %(value)s.")
            if more
            else _("%(name)s: slower than %(when)s by %(value)s.")
        )
    if measure.unit in (Unit.S, Unit.M):
        return (
            _("%(name)s: longer than %(when)s by %(value)s.")
            if more
            else _("%(name)s: shorter than %(when)s by %(value)s.")
        )
    return (
        _("%(name)s: more than %(when)s by %(value)s.")
        if more
        else _("%(name)s: less than %(when)s by %(value)s.")
    )


_PARTS: dict[Part, _More] = {
    Part.START: lambda: _("Start, until the first entry"),
    Part.START_AND_UNDER_WATER: lambda: _("Start and first way under water"),
    Part.UNDER_WATER: lambda: pgettext("part of a swim", "Under water"),
    Part.SWIMMING: lambda: pgettext("part of a swim", "Swimming"),
    Part.TURN: lambda: _("At the walls"),
}


def part_words(part: Part) -> str:
    return _PARTS[part]()
