"""The depth here beside all published limits, in words: the one place for them.

Nothing here says that a start is safe, or that a depth is enough: it says what was measured, by
whom, and whether that is below what somebody else has published.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Mapping
from dataclasses import dataclass

from clinics.compute.errors import Said
from clinics.compute.errors import say as _
from clinics.compute.start_depth import (
    ZONE_FROM_M,
    ZONE_TO_M,
    Against,
    Compared,
    Depth,
    Height,
    Measured,
    least_depth,
    limits_for,
)
from clinics.compute.start_limits import BLOCK, EDGE, WATER, Limit, Seen

STARTS: Mapping[str, Said] = {
    BLOCK: _("from the block"),
    EDGE: _("from the edge"),
    WATER: _("in the water"),
}
SEEN: Mapping[Seen, Said] = {
    Seen.TEXT: _("read in its own text"),
    Seen.SECONDARY: _("read in somebody else's report"),
}
AGAINST: Mapping[Against, Said] = {  # the depth here is …
    Against.BELOW: _("below it"),
    Against.NOT_BELOW: _("not below it"),
    Against.NOT_MEASURED: _("not measured"),
}
NOT_ALL = _("not below it where measured, and not all was measured")


@dataclass(frozen=True)
class Here:
    """What somebody said of the pool at its start wall. `profile` as `start_depth` takes it."""

    profile: tuple[tuple[float, float], ...] = ()
    measured_by: str = ""
    measured_on: dt.date | None = None
    measured_how: str = ""
    has_blocks: bool | None = None
    block_height_m: float | None = None
    edge_height_m: float | None = None

    def height_m(self, start: str) -> float | None:
        return self.block_height_m if start == BLOCK else self.edge_height_m


@dataclass(frozen=True)
class LimitLine:
    """A limit beside the depth here. `against`: for the page's sign; `heights`: one sentence for
    each kind of start that it is meant for and that somebody here does."""

    limit: Limit
    against: Against
    says: Said
    heights: tuple[Said, ...]

    def text(self) -> tuple[str, ...]:
        """All of it, as it is read."""
        limit = self.limit
        told = (f"{limit.depth_m:g} m", limit.body, limit.applies_to, limit.condition)
        return (*told, limit.source, limit.address, SEEN[limit.seen], self.says, *self.heights)


def metres(value_m: float) -> float:
    """To the centimetre, as it is said."""
    return round(value_m, 2)


# --- what was measured ---------------------------------------------------------------------------


def depth_words(here: Here) -> tuple[Said, ...]:
    """How deep it is between 1 and 6 m from the start wall, and who measured that.

    >>> print(*depth_words(Here()))
    Nobody has said how deep it is.
    """
    if not here.profile:
        return (_("Nobody has said how deep it is."),)
    return (*_least_words(least_depth(here.profile)), _measured_words(here))


def _least_words(depth: Depth) -> tuple[Said, ...]:
    zone = {"zone_from": metres(ZONE_FROM_M), "zone_to": metres(ZONE_TO_M)}
    if depth.least_m is None or depth.at_m is None:
        told = _(
            "Nobody has said how deep it is between %(zone_from)s and %(zone_to)s m from the start"
            " wall.",
            **zone,
        )
        return (told,)
    least = {"least": metres(depth.least_m), "at": metres(depth.at_m)}
    if depth.state is Measured.WHOLE:
        told = _(
            "The least depth between %(zone_from)s and %(zone_to)s m from the start wall is"
            " %(least)s m, at %(at)s m, taken straight between the places measured.",
            **zone,
            **least,
        )
    else:
        told = _(
            "Measured from %(begin)s to %(end)s m from the start wall only: the least depth there"
            " is %(least)s m, at %(at)s m. Of the rest between %(zone_from)s and %(zone_to)s m"
            " nobody has said how deep it is.",
            begin=metres(depth.from_m or 0.0),
            end=metres(depth.to_m or 0.0),
            **zone,
            **least,
        )
    gap = _(
        "The longest stretch between two places is %(gap)s m: the bottom may rise there unseen.",
        gap=metres(depth.widest_gap_m or 0.0),
    )
    return (told, gap) if depth.widest_gap_m else (told,)


def _measured_words(here: Here) -> Said:
    who = here.measured_by or _("nobody has said by whom")
    when = here.measured_on or _("nobody has said when")
    how = here.measured_how.rstrip(".") or _("nobody has said where and how")
    return _("Measured: %(who)s; %(when)s; %(how)s.", who=who, when=when, how=how)


def height_words(start: str, here: Here) -> Said:
    """Of the blocks or the edge. In the water nobody starts head first."""
    if start == WATER:
        return _(
            "A start in the water is not head first, and no limit here speaks of it. Get in feet"
            " first."
        )
    height_m = here.height_m(start)
    if start == EDGE:
        if height_m is None:
            return _("Nobody has said how high the edge is above the water.")
        return _("The edge is %(height)s m above the water.", height=metres(height_m))
    if here.has_blocks is False:
        return _("There are no blocks here, although somebody is to start from one.")
    if height_m is None:
        return _("Nobody has said how high the blocks are above the water.")
    return _("The blocks are %(height)s m above the water.", height=metres(height_m))


# --- beside the limits ----------------------------------------------------------------------------


def limit_lines(here: Here, starts: Collection[str]) -> tuple[LimitLine, ...]:
    """Every limit that is meant for one of these starts, once, strictest first."""
    depth = least_depth(here.profile)
    whole = depth.state is Measured.WHOLE
    found: dict[str, list[tuple[str, Compared]]] = {}
    for start in (one for one in STARTS if one in starts):
        for one in limits_for(depth.least_m, here.height_m(start), start, whole=whole):
            found.setdefault(one.limit.key, []).append((start, one))
    lines = [_line(of_starts, depth) for of_starts in found.values()]
    return tuple(sorted(lines, key=lambda line: (-line.limit.depth_m, line.limit.key)))


def _line(of_starts: list[tuple[str, Compared]], depth: Depth) -> LimitLine:
    first = of_starts[0][1]
    partly = first.against is Against.NOT_MEASURED and depth.least_m is not None
    says = NOT_ALL if partly else AGAINST[first.against]
    heights = tuple(dict.fromkeys(_height_words(start, one) for start, one in of_starts))
    return LimitLine(first.limit, first.against, says, heights)


def _height_words(start: str, one: Compared) -> Said:
    said = {"start": STARTS[start], "most": metres(one.limit.height_up_to_m or 0.0)}
    if one.height is Height.NONE_NAMED:
        return _("it names no height")
    if one.height is Height.WITHIN:
        return _("%(start)s: meant for heights up to %(most)s m", **said)
    if one.height is Height.HIGHER:
        return _("%(start)s: meant for heights up to %(most)s m; here it is higher", **said)
    return _(
        "%(start)s: meant for heights up to %(most)s m; nobody has said how high it is here",
        **said,
    )


def sum_up(lines: Collection[LimitLine], here: Here) -> Said:
    """How many limits the depth here is below. None is said to be kept."""
    depth, count = least_depth(here.profile), len(lines)
    below = sum(line.against is Against.BELOW for line in lines)
    if depth.least_m is None:
        return _("Nobody has measured here, so nothing can be set beside these limits.")
    if below:
        told = {"below": below, "count": count}
        return _("Limits published: %(count)s. The depth here is below %(below)s of them.", **told)
    if depth.state is Measured.PARTLY:
        return _(
            "Limits published: %(count)s. What was measured is below none of them; not all was"
            " measured. Neither is leave to start.",
            count=count,
        )
    return _(
        "Limits published: %(count)s. The depth here is below none of them. That is no leave to"
        " start.",
        count=count,
    )
