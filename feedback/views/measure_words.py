"""How measures are said on every page: one notation for a value and its ±, and words for people
who do not want a ±."""

from __future__ import annotations

from django.utils.formats import number_format
from django.utils.translation import gettext as _
from django.utils.translation import pgettext

from clinics.views.words import said
from feedback.compute.measuring.measure import Measure, Unit
from feedback.compute.measuring.notation import Claim, claim, written
from feedback.compute.measuring.uncertain import Quantity

NO_BREAK = "\u00a0"
_CLOSE = {Unit.DEG, Unit.COUNT}  # stand at the figure without a space


def with_unit(figure: str, unit: Unit) -> str:
    """A figure with its unit, on one line."""
    return f"{figure}{'' if unit in _CLOSE else NO_BREAK}{unit.value}"


def told(what: Measure | Quantity, unit: Unit | None = None) -> str:
    """“9.82 m ± 0.12 m” in the reader's notation; “about …” where the ± is wide; in words where
    nothing may be claimed; a count as it is. A quantity needs its unit, a measure has one."""
    quantity = what.quantity if isinstance(what, Measure) else what
    if unit is None:
        unit = what.unit if isinstance(what, Measure) else Unit.COUNT
    kind = claim(quantity)
    if kind is Claim.TOO_UNSURE:
        return too_unsure()
    text = with_plus_minus(quantity, unit)
    return _("about %(value)s") % {"value": text} if kind is Claim.ROUGH else text


def with_plus_minus(quantity: Quantity, unit: Unit) -> str:
    """The figures alone, however wide the ± is: for differences, which say by themselves whether
    they may be claimed, and for the table behind a picture."""
    w = written(quantity)
    decimals = 0 if unit is Unit.COUNT and not w.half_width else w.decimals
    value = with_unit(number_format(w.value, decimals), unit)
    if not w.half_width:
        return value
    half = with_unit(number_format(w.half_width, decimals), unit)
    return f"{value} ±{NO_BREAK}{half}"


def in_short(quantity: Quantity, unit: Unit) -> str:
    """For swimmers: the value to the place where its ± leaves it sure, and no ±."""
    kind = claim(quantity)
    if kind is Claim.TOO_UNSURE:
        return too_unsure()
    w = written(quantity)
    decimals = 0 if unit is Unit.COUNT and not w.half_width else max(0, min(w.decimals, 2))
    value = with_unit(number_format(round(w.value, decimals), decimals), unit)
    return _("about %(value)s") % {"value": value} if kind is Claim.ROUGH else value


def sure_words(quantity: Quantity) -> str:
    """How sure a measure is, for people who do not want a ±."""
    kind = claim(quantity)
    if kind is Claim.GOOD:
        return pgettext("a measure", "sure") if quantity.half_width_95 else _("counted")
    return _("a rough figure") if kind is Claim.ROUGH else too_unsure()


def too_unsure() -> str:
    return _("too unsure to say")


def name_of(measure: Measure) -> str:
    """“Time to 10 m”, “Stroke rate, length 2”, “Turn, wall 1”."""
    if measure.key in _TO_DISTANCE and measure.at_m is not None:
        return _TO_DISTANCE[measure.key]() % {"distance": metres(measure.at_m)}
    name = said(measure.definition.name)
    if not measure.number:
        return name
    pattern = (
        _("%(name)s, wall %(number)d") if is_turn(measure) else _("%(name)s, length %(number)d")
    )
    return pattern % {"name": name, "number": measure.number}


def is_turn(measure: Measure) -> bool:
    """Its number is that of a wall."""
    return measure.key.startswith("turn-") or measure.key == "push-off-time"


def metres(distance_m: float) -> str:
    return with_unit(number_format(f"{distance_m:.10g}"), Unit.M)


_TO_DISTANCE = {
    "time-to-distance": lambda: _("Time to %(distance)s"),
    "speed-to-distance": lambda: _("Speed to %(distance)s"),
    "split": lambda: _("Split at %(distance)s"),
}
