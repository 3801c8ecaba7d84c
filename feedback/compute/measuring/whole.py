"""All measures of a swim from its marks."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from feedback.compute.measuring.cross_checks import disagreements
from feedback.compute.measuring.events import Seen, Zero
from feedback.compute.measuring.head_speeds import head_speeds
from feedback.compute.measuring.measure import Measure
from feedback.compute.measuring.placed_twice import placing_u
from feedback.compute.measuring.splits import way_measures
from feedback.compute.measuring.start import start_measures
from feedback.compute.measuring.strokes import missed_strokes, stroke_measures
from feedback.compute.measuring.swim_marks import Course, SwimMarks, Wrong, put_in_order
from feedback.compute.measuring.times import Times
from feedback.compute.measuring.turns import ZONES, TurnZone, turn_measures


@dataclass(frozen=True)
class Measured:
    """`measures` in the order of a swim's list; `wrong`: what has to be looked at."""

    swim: SwimMarks
    measures: tuple[Measure, ...]
    wrong: tuple[Wrong, ...]

    def get(self, key: str, number: int | None = None, at_m: float | None = None) -> Measure | None:
        """The first measure of this definition, of this length or wall, at this distance."""
        for one in self.measures:
            fits = number is None or one.number == number
            if one.key == key and fits and (at_m is None or one.at_m == at_m):
                return one
        return None


def measure_swim(
    marks: Iterable[Seen],
    course: Course,
    zero: Zero,
    *,
    zone: TurnZone = ZONES[0],
    strokes: Sequence[str] = (),
    by: str = "",
) -> Measured:
    """`by`: whose marks come first where several people marked the same event; how far apart
    they are is part of every ±. `strokes`: of each length, for a medley."""
    given = list(marks)
    swim = put_in_order(given, replace(course, strokes=tuple(strokes or course.strokes)), by=by)
    times = Times(zero, placing_u(given))
    times.speeds = head_speeds(swim, times)
    measures = (
        *start_measures(swim, times),
        *way_measures(swim, times),
        *turn_measures(swim, times, zone),
        *stroke_measures(swim, times),
    )
    wrong = (*swim.wrong, *missed_strokes(swim), *disagreements(given, swim, times))
    return Measured(swim, measures, wrong)
