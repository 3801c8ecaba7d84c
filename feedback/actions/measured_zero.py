"""What a swim counts from, and the stroke of each of its lengths, as its rows have them."""

from __future__ import annotations

import math
import uuid
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from clinics.models import Swim
from feedback.compute.measuring.course import Course
from feedback.compute.measuring.events import View, Zero
from feedback.compute.measuring.medley import MEDLEY, strokes_by_rule

if TYPE_CHECKING:
    from clinics.models import ChosenStart
    from feedback.models import LengthStrokes


@dataclass(frozen=True)
class Choices:
    """`start`: the frame that a coach counts from, None: the start as found. `strokes`: of each
    length, as a coach said; () for none."""

    start: ChosenStart | None = None
    strokes: tuple[str, ...] = ()


WITH_CHOICES = ("chosen_start", "length_strokes")


def choices_of(swim: Swim, row: Swim | None = None) -> Choices:
    """`row`: the same swim that came with its choices, as of a mark; else each is asked for,
    where there may be one."""
    row = row or swim
    marked, medley = swim.start_kind == Swim.StartKind.MARK, swim.entry.stroke == MEDLEY
    said: LengthStrokes | None = getattr(row, "length_strokes", None) if medley else None
    return Choices(
        start=getattr(row, "chosen_start", None) if marked else None,
        strokes=tuple(said.strokes) if said else (),
    )


def zero_of(swim: Swim, views: Mapping[uuid.UUID, View], choices: Choices) -> Zero:
    """`views`: by recording, those of the swim's marks. Where the start was marked in one of
    them, its error is that of the frame and of that view's clock, which then drops out between
    the start and the view's marks."""
    zero = Zero(swim.start_kind, swim.start_u_ms / 1000, key=f"start of {swim.pk}")
    chosen = choices.start
    view = views.get(chosen.recording_id) if chosen and chosen.recording_id else None
    if chosen is None or view is None or view.clock_u_s is None:
        return zero
    half_s = chosen.frame_u_ms / 1000 * math.sqrt(3)  # rectangular (GUM 4.3.7)
    return replace(zero, view=view, half_s=half_s)


def course_of(swim: Swim, choices: Choices | None = None) -> Course:
    """With each length's stroke, for a medley of which it can be told; without `choices` what
    the coach said of it is asked for."""
    entry, clinic = swim.entry, swim.entry.clinic
    course = Course(clinic.course_m, clinic.distance_m, entry.stroke, entry.start)
    if entry.stroke != MEDLEY:
        return course
    said = (choices or choices_of(swim)).strokes
    kept = said if len(said) == course.lengths else ()  # those of another distance tell nothing
    return replace(course, strokes=strokes_by_rule(course) or kept)


def lengths_to_say(course: Course) -> int:
    """Of how many lengths a coach has to say the stroke; 0: none, or the rule says it."""
    return 0 if course.stroke != MEDLEY or strokes_by_rule(course) else course.lengths
