"""What the list of measures says besides each figure (feedback/views/measure_words.py)."""

from __future__ import annotations

from collections.abc import Mapping

from django.utils.formats import number_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from clinics.models import Swim
from feedback.compute.measuring.events import Zero
from feedback.compute.measuring.measure import Measure, Unit
from feedback.compute.measuring.notation import Claim, claim, written
from feedback.compute.measuring.uncertain import Quantity
from feedback.views.measure_words import NO_BREAK, metres, name_of, with_unit

IN_MS_BELOW_S = 0.1  # the start's ± is written in milliseconds below this
AS = {
    Swim.StartKind.HEARD: gettext_lazy("as heard"),
    Swim.StartKind.TAP: gettext_lazy("as tapped in the start log"),
    Swim.StartKind.MARK: gettext_lazy("as marked on a frame"),
}


def plus_minus(quantity: Quantity, unit: str) -> str:
    w = written(quantity)
    return f"±{NO_BREAK}{number_format(w.half_width, w.decimals)}{NO_BREAK}{unit}"


def why_unsure(measure: Measure) -> str:
    """How wide it is, where the value itself must not be quoted."""
    if claim(measure.quantity) is not Claim.TOO_UNSURE:
        return ""
    w = written(measure.quantity)
    half = with_unit(number_format(w.half_width, w.decimals), measure.unit)
    return _("It would be ±%(half)s: more than a quarter of the value.") % {
        "half": f"{NO_BREAK}{half}"
    }


def name_in_list(measure: Measure, distances: Mapping[str, float | None]) -> str:
    """With the ends of a segment; `distances`: by the keys of marks."""
    ends = [distances.get(key) for key in measure.marks] if measure.key == "segment-speed" else []
    known = [metres(one) for one in ends if one is not None]
    if len(known) < 2:
        return name_of(measure)
    return _("%(name)s, %(from)s to %(to)s") % {
        "name": name_of(measure),
        "from": known[0],
        "to": known[-1],
    }


def zero_words(zero: Zero) -> str:
    """What the times count from, and how well that is known. Where it was marked in a view, that
    view's clock is part of the ± only against others."""
    told = _zero_words(zero)
    if zero.view is None or not zero.view.clock_u_s:
        return told
    return " ".join([told, _("Against marks of the same view only its frame counts.")])


def _zero_words(zero: Zero) -> str:
    how = AS[Swim.StartKind(zero.kind)]
    if not zero.u_s:
        return _("Times count from the start signal %(how)s.") % {"how": how}
    if zero.time.half_width_95 < IN_MS_BELOW_S:
        within = plus_minus(Quantity(0.0, zero.time.times(1000.0).parts), "ms")
    else:
        within = plus_minus(Quantity(0.0, zero.time.parts), Unit.S.value)
    return _("Times count from the start signal %(how)s, %(within)s.") % {
        "how": how,
        "within": within,
    }
