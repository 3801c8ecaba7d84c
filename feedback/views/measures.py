"""What can be told of a swim from its marks: the list of measures on its page, what is wrong with
the marks, and where two people differ. Renewed by itself after a mark."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils.formats import number_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_safe

from clinics.models import Swim
from clinics.views.words import said
from feedback.actions.measured import measured_from, planes_of, seen_of
from feedback.actions.measured import views_of as mark_views_of
from feedback.actions.measured_zero import choices_of, zero_of
from feedback.compute.measuring.events import NAMES, Seen, at_m_of
from feedback.compute.measuring.measure import Measure
from feedback.compute.measuring.medley import MEDLEY
from feedback.compute.measuring.placed_twice import differences, spread_of
from feedback.compute.measuring.swim_marks import Course
from feedback.compute.measuring.whole import Measured
from feedback.views.coaching import coaches_here
from feedback.views.length_strokes import strokes_part
from feedback.views.mark_list import PlacedMark, marks_of
from feedback.views.measure_words import in_short, sure_words, told
from feedback.views.measures_places import place_words, places_unknown, seen_in
from feedback.views.measures_start import start_part
from feedback.views.measures_words import name_in_list, why_unsure, zero_words
from feedback.views.room_data import views_of
from portal.requests import SignedInRequest

# title, keys of measures in it, what to mark where it is empty
GROUPS = (
    (
        "start",
        gettext_lazy("Start"),
        (
            *("reaction-time", "block-time", "movement-time", "flight-time"),
            *("flight-distance", "entry-time", "time-to-entry"),
        ),
    ),
    (
        "under-water",
        gettext_lazy("Under water"),
        ("underwater-time", "underwater-distance", "breakout-time"),
    ),
    (
        "way",
        gettext_lazy("On the way"),
        (
            *("time-to-distance", "speed-to-distance", "segment-speed"),
            *("split", "length-time", "length-speed", "fade"),
        ),
    ),
    (
        "turns",
        gettext_lazy("Turns"),
        (
            *("turn-time", "turn-in", "turn-rotation", "turn-contact"),
            *("turn-wall", "push-off-time", "turn-out"),
        ),
    ),
    (
        "strokes",
        gettext_lazy("Strokes"),
        ("stroke-rate", "stroke-count", "swimming-speed", "stroke-length", "stroke-index"),
    ),
)


@dataclass(frozen=True)
class ShownMeasure:
    """`key` is the same while the marks change, so that what is open stays open."""

    key: str
    name: str
    figure: str
    plain: str
    sure: str
    why_unsure: str
    says: str
    source: str
    places: list[str]
    marks: list[PlacedMark]


@dataclass(frozen=True)
class Group:
    """`next_step`: what to mark, where nothing can be told yet."""

    key: str
    title: str
    measures: list[ShownMeasure]
    next_step: str


@dataclass(frozen=True)
class Trouble:
    says: str
    marks: list[PlacedMark]


@dataclass(frozen=True)
class Apart:
    """Two marks of one happening, the later one second."""

    label: str
    first: PlacedMark
    second: PlacedMark
    by_s: str


def measures_part(
    request: SignedInRequest, swim: Swim, placed: Sequence[PlacedMark]
) -> dict[str, Any]:
    """`measures_here`: whether there is anything to show to this reader."""
    coaching = coaches_here(request, swim)
    marks = [one.mark for one in placed]
    by_key = {str(one.mark.pk): one for one in placed}
    planes = planes_of(marks)
    measured = measured_from(swim, marks, planes, by=request.user if coaching else None)
    seen = seen_of(swim, marks, planes)
    groups = _groups(measured, by_key, coaching=coaching)
    wrong = [Trouble(said(one.says), _known(one.marks, by_key)) for one in measured.wrong]
    return {
        "measure_groups": groups,
        "measures_wrong": wrong if coaching else [],
        "measures_zero": zero_words(zero_of(swim, mark_views_of(marks), choices_of(swim))),
        "measures_no_clock": coaching and any(one.at_s is None for one in placed),
        "measures_here": coaching or any(group.measures for group in groups),
        "measures_no_plane": coaching and places_unknown(marks, seen),
        **(_for_coaches(swim, placed, measured, _people(seen, by_key)) if coaching else {}),
    }


def _for_coaches(
    swim: Swim, placed: Sequence[PlacedMark], measured: Measured, people: dict[str, Any]
) -> dict[str, Any]:
    return {**people, **start_part(swim, placed), **strokes_part(measured.swim.course)}


def _groups(measured: Measured, by_key: dict[str, PlacedMark], *, coaching: bool) -> list[Group]:
    shown, seen = [], seen_in(measured.swim)
    for key, title, keys in GROUPS:
        its = [one for one in measured.measures if one.key in keys]
        measures = [
            _shown(one, by_key, seen) for one in sorted(its, key=lambda one: _place(one, keys))
        ]
        step = next_step(key, measured.swim.course) if coaching and not measures else ""
        if measures or step:
            shown.append(Group(key, str(title), measures, step))
    return shown


def _place(one: Measure, keys: Sequence[str]) -> tuple[int, int, float]:
    """Of turns and strokes, one wall or length after the other; else by what they are."""
    if one.key.startswith(("turn", "push", "stroke", "swimming")):
        return (one.number, keys.index(one.key), 0.0)
    return (keys.index(one.key), one.number, one.at_m or 0.0)


def _shown(one: Measure, by_key: dict[str, PlacedMark], seen: dict[str, Seen]) -> ShownMeasure:
    distances = {key: at_m_of(mark) for key, mark in seen.items()}
    return ShownMeasure(
        key=f"{one.key}-{one.number}-{one.at_m or 0:g}",
        name=name_in_list(one, distances),
        figure=told(one),
        plain=in_short(one.quantity, one.unit),
        sure=sure_words(one.quantity),
        why_unsure=why_unsure(one),
        says=said(one.definition.says),
        source=one.definition.source,
        places=place_words(one, seen),
        marks=_known(one.marks, by_key),
    )


def _known(keys: Sequence[str], by_key: dict[str, PlacedMark]) -> list[PlacedMark]:
    return [by_key[key] for key in dict.fromkeys(keys) if key in by_key]


def next_step(group: str, course: Course) -> str:
    """What to mark so that this group tells something; "" where the swim has none of it."""
    if group == "start":
        return _("Mark the first entry; with the feet leaving the block also the flight.")
    if group == "under-water":
        return _("Mark the breakout: the first frame in which the head breaks the surface.")
    if group == "way":
        return _("Mark the head at a distance, such as 10 m and 15 m, or the touch of a wall.")
    if group == "turns":
        turned = course.distance_m > course.course_m
        return _("Mark the touch of the wall and the feet leaving it.") if turned else ""
    if course.stroke in ("breaststroke", "butterfly"):
        return _("Mark the hand entry of each body cycle of a length.")
    if course.stroke == MEDLEY and not course.strokes:
        return _(
            "Over this distance a medley has no set order of strokes. Say below which stroke each "
            "length was; until then no stroke is counted."
        )
    return _("Mark each hand entry of a length.")


def _people(seen: list[Seen], by_key: dict[str, PlacedMark]) -> dict[str, Any]:
    """Where marks of one happening differ, and what that adds to every ± they are part of."""
    pairs = [
        Apart(by_key[a.key].label, by_key[a.key], by_key[b.key], number_format(f"{by_s:.3f}"))
        for a, b, by_s in differences(seen)
        if a.key in by_key and b.key in by_key
    ]
    spreads = [
        (said(NAMES[event]), number_format(f"{spread_s:.3f}"))
        for event, spread_s in spread_of(seen).items()
    ]
    return {"measures_apart": pairs, "measures_spreads": spreads}


@require_safe
def measures(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """The list by itself, for a page that has it already."""
    swims = Swim.objects.reviewed_by(request.user)
    swim = get_object_or_404(swims.select_related("entry__swimmer", "entry__clinic__club"), pk=pk)
    placed = marks_of(swim, request.user, views_of(swim, request.user))
    shown = {
        "swim": swim,
        "coaching": coaches_here(request, swim),
        **measures_part(request, swim, placed),
    }
    return render(request, "feedback/_measures.html", shown)
