"""What a measure's distances are from: typed, or from a plane in the picture, with its cautions."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from django.utils.translation import gettext as _

from feedback.compute.measuring.events import Seen, place_of
from feedback.compute.measuring.measure import Measure, Unit
from feedback.compute.measuring.swim_marks import SwimMarks
from feedback.compute.measuring.uncertain import Quantity
from feedback.models import Mark
from feedback.views.measure_words import with_plus_minus

# measures that rest on where something was, besides when
PLACED = frozenset(
    (
        *("flight-distance", "underwater-distance", "time-to-distance", "speed-to-distance"),
        *("segment-speed", "swimming-speed", "stroke-length", "stroke-index", "fade"),
    )
)


def seen_in(swim: SwimMarks) -> dict[str, Seen]:
    """The marks that measures are from, by their keys, with what each has swum."""
    lengths = [(one.breakout, *one.hands, *one.heads) for one in swim.lengths]
    told = (*swim.start.values(), *(mark for its in lengths for mark in its))
    return {one.key: one for one in told if one is not None}


def place_words(measure: Measure, seen: Mapping[str, Seen]) -> list[str]:
    """Sentences, none for a measure of times alone."""
    if measure.key not in PLACED:
        return []
    marks = [seen[key] for key in dict.fromkeys(measure.marks) if key in seen]
    typed = [one for one in marks if one.distance_m is not None]
    by_plane = [
        (one, place) for one in marks if one.distance_m is None and (place := place_of(one))
    ]
    return [*_typed(typed), *_by_plane(by_plane)]


def _typed(marks: list[Seen]) -> Iterable[str]:
    if not marks:
        return
    if any(one.swum is not None for one in marks):
        yield _("The distance was typed; it counts before the plane in the picture.")
    else:
        yield _("The distance was typed.")


def _by_plane(marks: list[tuple[Seen, Quantity]]) -> Iterable[str]:
    if not marks:
        return
    places = [with_plus_minus(place, Unit.M) for _seen, place in marks]
    yield _("By the plane in the picture: %(places)s from the start.") % {
        "places": ", ".join(dict.fromkeys(places))
    }
    if any(one.outside for one, _place in marks):
        yield _(
            "A spot lies outside of the marks of the plane: the further out, the less sure it is, "
            "beyond its ±."
        )
    if any(one.from_above for one, _place in marks):
        yield _(
            "This camera is above the water: it cannot place what is below the surface, and what "
            "is above it seems further on."
        )


def places_unknown(marks: Iterable[Mark], seen: Iterable[Seen]) -> bool:
    """Whether a mark has a place in its picture of which nothing tells the metres."""
    told = {one.key: one for one in seen}
    return any(
        mark.x is not None
        and mark.distance_m is None
        and str(mark.pk) in told
        and told[str(mark.pk)].place is None
        for mark in marks
    )
