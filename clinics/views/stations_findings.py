"""Each check of a station in words: what was found, why it matters, what to do. None of it says
that anything is safe or allowed."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from django.utils.formats import number_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from clinics.actions.stations_seen import StationsSeen
from clinics.compute.sight import Port, Stand
from clinics.compute.sight_cones import CLIMB_ALONG_M, CLIMB_BACK_M, Check, Finding, State

OK, LOOK, UNKNOWN = "ok", "look", "unknown"


@dataclass(frozen=True)
class Told:
    """`do` is empty where nothing is to be done."""

    state: str
    said: str
    do: str = ""


def fig(value: float, places: int = 2) -> str:
    """A figure as the reader's language writes it, without idle noughts.

    >>> fig(5.0), fig(0.50), fig(-0.001), fig(44.06, 1)
    ('5', '0.5', '0', '44.1')
    """
    decimals = len(f"{value:.{places}f}".rstrip("0").partition(".")[2])
    return str(number_format(round(value, decimals) + 0.0, decimals))


def finding_told(one: Finding, stand: Stand, seen: StationsSeen) -> Told:
    return _SAY[one.check](one, stand, seen)


def _lane(one: Finding, stand: Stand, seen: StationsSeen) -> Told:
    if one.state is State.LOOK:
        return Told(
            LOOK,
            _("This camera sees nothing of the swum lane."),
            _("Turn it towards the lane, or set where it looks to “as usual”."),
        )
    low_m, high_m = max(one.numbers["from_m"], 0.0), min(one.numbers["to_m"], seen.pool.course_m)
    told = {"from": fig(low_m, 1), "to": fig(high_m, 1)}
    return Told(OK, _("In picture: the middle of the swum lane, %(from)s to %(to)s m.") % told)


def _field(one: Finding, stand: Stand, seen: StationsSeen) -> Told:
    numbers, is_ok = one.numbers, one.state is State.OK
    width = round(numbers["width_m"], 2)
    if not is_ok and width >= numbers["need_m"]:  # what falls short is not rounded up to enough
        width = math.floor(100 * numbers["width_m"]) / 100
    told = {"width": fig(width), "at": fig(numbers["distance_m"]), "need": fig(numbers["need_m"])}
    if stand.through is Port.AIR:
        said = _(
            "This lens sees %(width)s m at %(at)s m; a swimmer with arms stretched is about "
            "%(need)s m."
        )
    else:
        said = _(
            "Under water this lens sees %(width)s m at %(at)s m; a swimmer with arms "
            "stretched is about %(need)s m."
        )
    return Told(OK if is_ok else LOOK, said % told, "" if is_ok else _field_help(one))


def _field_help(one: Finding) -> str:
    numbers = one.numbers
    told: dict[str, object] = {"away": fig(numbers["distance_needed_m"] + 0.005)}
    if "rope_needed" in numbers:
        rope = int(numbers["rope_needed"])
        told |= {"rope": rope, "next": rope + 1}
        first = _("Go to the rope between lanes %(rope)d and %(next)d")
    else:
        first = _("Go %(away)s m away from the swimmer")
    if "angle_needed_deg" not in numbers:
        return first % told + "."
    told["angle"] = fig(math.ceil(numbers["angle_needed_deg"] - 1e-9), 0)
    whole = _("%(first)s, or set the lens wider: %(angle)s° in air.")
    return whole % {"first": first % told, "angle": told["angle"]}


def _lane_away(one: Finding, stand: Stand, seen: StationsSeen) -> Told:
    told = {"away": fig(one.numbers["distance_m"]), "need": fig(one.numbers["need_m"])}
    if one.state is State.OK:
        return Told(OK, _("%(away)s m from the middle of the swum lane: a lane or more.") % told)
    return Told(
        LOOK,
        _(
            "%(away)s m from the middle of the swum lane; one lane, %(need)s m, is the least that "
            "is usual."
        )
        % told,
        _("Go one rope farther away from the swum lane."),
    )


def _ropes(one: Finding, stand: Stand, seen: StationsSeen) -> Told:
    if one.state is State.OK:
        return Told(OK, _("No rope hangs between it and the swum lane."))
    names = ", ".join(f"{rope}/{rope + 1}" for rope in one.ropes)
    count = len(one.ropes)
    said = ngettext(
        "Rope %(ropes)s hangs between this camera and the swum lane, and hides the swimmer.",
        "Ropes %(ropes)s hang between this camera and the swum lane, and hide the swimmer.",
        count,
    )
    do = ngettext(
        "Have it taken out, and say so on the venue sheet.",
        "Have them taken out, and say so on the venue sheet.",
        count,
    )
    return Told(LOOK, said % {"ropes": names}, do)


def _start(one: Finding, stand: Stand, seen: StationsSeen) -> Told:
    if one.state is State.OK:
        return Told(OK, _("In picture at the start: from the block to where the hands enter."))
    numbers = one.numbers
    told = {name: fig(numbers[f"{name}_m"], 1) for name in ("from", "to", "need_from", "need_to")}
    return Told(
        LOOK,
        _(
            "In picture at the start: %(from)s to %(to)s m along. Block and entry take "
            "%(need_from)s to %(need_to)s m."
        )
        % told,
        _("Step back from the edge, set the lens wider, or turn the camera."),
    )


def _deck_place(one: Finding, stand: Stand, seen: StationsSeen) -> Told:
    told = {"x": fig(one.numbers["x_m"], 1), "usual": fig(one.numbers["usual_m"], 1)}
    if one.state is State.OK:
        return Told(OK, _("Stands at %(x)s m; about %(usual)s m from the start is usual.") % told)
    return Told(
        LOOK,
        _(
            "Stands at %(x)s m; about %(usual)s m from the start is usual: from there the camera "
            "walks along."
        )
        % told,
        _("Move it along the deck, unless you want it there."),
    )


def _wall(one: Finding, stand: Stand, seen: StationsSeen) -> Told:
    told = {"off": fig(one.numbers["off_m"], 1), "room": fig(one.numbers["room_m"], 1)}
    if one.state is State.LOOK:
        return Told(
            LOOK,
            _("%(off)s m from the nearer end wall, which is not in picture.") % told,
            _("Go to within %(room)s m of the wall, or turn the camera to it.") % told,
        )
    if one.numbers["off_m"] <= one.numbers["room_m"]:
        return Told(OK, _("At the wall: turns begin and end in front of it."))
    return Told(OK, _("The wall is in picture."))


def _climb_out(one: Finding, stand: Stand, seen: StationsSeen) -> Told:
    numbers = one.numbers
    told = {"out": fig(numbers["out_m"], 1), "along": fig(numbers["along_m"], 1)}
    if one.state is State.OK:
        return Told(OK, _("Swimmers climb out at %(out)s m; this station stands elsewhere.") % told)
    return Told(
        LOOK,
        _("Swimmers climb out at %(out)s m, %(along)s m from where this station stands.") % told,
        _("Go %(along)s m along, or %(back)s m back from the edge.")
        % {"along": fig(CLIMB_ALONG_M), "back": fig(CLIMB_BACK_M)},
    )


def _sound(one: Finding, stand: Stand, seen: StationsSeen) -> Told:
    told = {"at": fig(one.numbers["distance_m"], 1), "ms": fig(one.numbers["delay_ms"], 0)}
    said = _(
        "The starter is %(at)s m away: the signal comes %(ms)s ms late, which the clock fit "
        "takes off."
    )
    return Told(OK, said % told)


_SAY: dict[Check, Callable[[Finding, Stand, StationsSeen], Told]] = {
    Check.LANE: _lane,
    Check.FIELD: _field,
    Check.LANE_AWAY: _lane_away,
    Check.ROPES: _ropes,
    Check.START: _start,
    Check.DECK_PLACE: _deck_place,
    Check.WALL: _wall,
    Check.CLIMB_OUT: _climb_out,
    Check.SOUND: _sound,
}
