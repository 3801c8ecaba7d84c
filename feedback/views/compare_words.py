"""A comparison in words: what two swims are in step from, what is not marked, what differs."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.formats import date_format, number_format
from django.utils.translation import gettext as _

from clinics.models import Swim
from feedback.compute.compare import Common, CommonMark
from feedback.compute.compare_views import Difference, View, What, differences
from feedback.models import Mark
from feedback.views.compare_data import Comparison


def whose(swim: Swim, beside: Swim) -> str:
    """What tells a swim from the one beside it: the name, else the day, else the go."""
    if swim.entry.swimmer.name != beside.entry.swimmer.name:
        return swim.entry.swimmer.name
    if swim.entry.clinic.date != beside.entry.clinic.date:
        return date_format(swim.entry.clinic.date, "DATE_FORMAT")
    return _("go %(go)d") % {"go": swim.go}


def _names(compared: Comparison) -> tuple[str, str]:
    one, other = (side.swim for side in compared.sides)
    return whose(one, other), whose(other, one)


def mark_label(mark: CommonMark) -> str:
    """The event, by its number if there are several, and at a turn what touched the wall."""
    event = {
        Common.START: _("start signal"),
        Common.BREAKOUT: _("breakout"),
        Common.TURN: _("turn touch"),
    }[mark.common]
    if mark.n > 1:
        event = _("%(event)s %(number)d") % {"event": event, "number": mark.n}
    if mark.common is not Common.TURN:
        return event
    one, other = (str(Mark.Kind(kind).label) for kind in mark.kinds)
    if one != other:
        both = {"event": event, "one": one, "other": other}
        return _("%(event)s: %(one)s, beside it %(other)s") % both
    return _("%(event)s: %(kind)s") % {"event": event, "kind": one}


def rests_on(mark: CommonMark, n: int, swim: Swim) -> str:
    """What the common mark is on one of the swims."""
    if mark.kinds[n] == "":
        return str(swim.get_start_kind_display())
    return _("as marked on a frame")


@dataclass(frozen=True)
class Lacking:
    """An event that is not marked on this swim, so that the two cannot be in step from it."""

    sentence: str
    swim: Swim


def lacking(compared: Comparison) -> list[Lacking]:
    told = {
        Common.BREAKOUT: _("%(whose)s: the breakout is not marked."),
        Common.TURN: _("%(whose)s: neither hands nor feet at the wall are marked."),
    }
    names, swims = _names(compared), [side.swim for side in compared.sides]
    return [
        Lacking(told[missing.common] % {"whose": name}, swim)
        for missing in compared.found.missing
        for there, name, swim in zip(missing.on, names, swims, strict=True)
        if not there
    ]


def doubts(compared: Comparison) -> list[str]:
    """What somebody has to look at before believing the comparison."""
    uneven = {
        Common.BREAKOUT: _(
            "More breakouts are marked in one swim than in the other: see that they match."
        ),
        Common.TURN: _(
            "More touches of the wall are marked in one swim than in the other: "
            "see that they match."
        ),
    }
    clockless = [
        _("%(view)s, %(whose)s: its time is not known, so that it cannot be in step.")
        % {"view": view.name, "whose": name}
        for side, name in zip(compared.sides, _names(compared), strict=True)
        for view in side.clockless
    ]
    return [uneven[common] for common in compared.found.uneven] + clockless


def differences_in_words(compared: Comparison) -> list[str]:
    one, other = (side.swum for side in compared.sides)
    return [_in_words(compared, found) for found in differences(one, other, compared.pairs)]


def _in_words(compared: Comparison, found: Difference) -> str:
    if found.views == (None, None):
        return _of_swims(compared, found.what)
    views = [view for view in found.views if view is not None]
    said = {"view": compared.view_of(views[0]).name}
    if found.what is What.PLACE:
        said["metres"] = _number(round(found.apart_m, 1))
        return (
            _("%(view)s: the camera stood %(metres)s m from where it stood for the other.") % said
        )
    if found.what is What.FRAMES:
        said["one"], said["other"] = (_number(round(view.frames_per_s, 2)) for view in views)
        return _("%(view)s: %(one)s frames a second against %(other)s.") % said
    said["whose"] = " / ".join(_unsure(compared, found))
    if found.what is What.TIME:
        return _("%(view)s, %(whose)s: its time needs a look.") % said
    said["whose"] = _names(compared)[0 if found.views[0] is not None else 1]
    return _("%(view)s: only %(whose)s has this view.") % said


def _unsure(compared: Comparison, found: Difference) -> list[str]:
    def unsure(view: View | None) -> bool:
        return view is not None and view.state != "sure"

    both = zip(found.views, _names(compared), strict=True)
    return [name for view, name in both if unsure(view)]


def _of_swims(compared: Comparison, what: What) -> str:
    pattern = {
        What.STROKE: _("Stroke: %(one)s against %(other)s."),
        What.START: _("Start: %(one)s against %(other)s."),
        What.COURSE: _("Course: %(one)s m against %(other)s m."),
        What.DISTANCE: _("Distance: %(one)s m against %(other)s m."),
    }[what]
    one, other = (_value(what, side.swim) for side in compared.sides)
    return pattern % {"one": one, "other": other}


def _value(what: What, swim: Swim) -> str:
    entry = swim.entry
    return {
        What.STROKE: lambda: str(entry.get_stroke_display()),
        What.START: lambda: str(entry.get_start_display()),
        What.COURSE: lambda: _number(entry.clinic.course_m),
        What.DISTANCE: lambda: _number(entry.clinic.distance_m),
    }[what]()


def _number(value: float) -> str:
    return number_format(f"{value:g}", use_l10n=True)
