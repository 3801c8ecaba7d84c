"""A swim among the others of its clinic, as a page draws and lists it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.formats import number_format
from django.utils.translation import gettext as _

from feedback.actions.spread import Among
from feedback.compute.measuring import rows
from feedback.compute.measuring.measure import Unit
from feedback.compute.measuring.spread import Side, Spread, side
from feedback.views.measure_words import name_of, told, with_unit


@dataclass(frozen=True)
class AmongShown:
    """`row` None: too unsure to be drawn."""

    name: str
    row: rows.AmongRow | None
    value: str
    middle: str
    half: str
    where: str


@dataclass(frozen=True)
class AmongPart:
    """`too_few`: names of the measures that fewer than five others have. None of either: the swim
    itself has no measure that is compared."""

    shown: list[AmongShown]
    too_few: list[str]


def among_part(found: Sequence[Among]) -> AmongPart:
    shown = [_shown(one, one.spread) for one in found if one.spread is not None]
    return AmongPart(shown, [name_of(one.measure) for one in found if one.spread is None])


def _shown(one: Among, spread: Spread) -> AmongShown:
    quantity, unit = one.measure.quantity, one.measure.unit
    row = rows.among(quantity, spread)
    return AmongShown(
        name=name_of(one.measure),
        row=row,
        value=told(one.measure),
        middle=_figure(spread.middle, spread, unit),
        half=_half(spread, unit),
        where=_WHERE[side(quantity, spread)]() if row else "",
    )


def _figure(value: float, spread: Spread, unit: Unit) -> str:
    return with_unit(number_format(value, spread.decimals), unit)


def _half(spread: Spread, unit: Unit) -> str:
    if spread.low == spread.high:
        return _("about %(value)s") % {"value": _figure(spread.low, spread, unit)}
    ends = {
        "low": number_format(spread.low, spread.decimals),
        "high": _figure(spread.high, spread, unit),
    }
    return _("%(low)s to %(high)s") % ends


_WHERE = {
    Side.BELOW: lambda: _("below the middle half"),
    Side.WITHIN: lambda: _("in the middle half"),
    Side.ABOVE: lambda: _("above the middle half"),
    Side.OPEN: lambda: _("in or near the middle half"),
}
