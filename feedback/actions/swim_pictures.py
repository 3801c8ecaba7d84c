"""What the pictures of one swim are made from: the swim and the person's earlier ones, measured."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from clinics.models import Swim
from feedback.actions.comparable import same_person
from feedback.actions.measured import measured_many
from feedback.actions.progress import KEY_MEASURES, NEWEST, Series, Told, swims_of_same_person
from feedback.models import Mark

if TYPE_CHECKING:
    from portal.models import User


def told_until(swim: Swim, user: User, *, by: User | None = None) -> list[Told]:
    """The person's swims of the same stroke, start, course and distance until this one, which
    comes last; as far as the user reviews them, and not more than `NEWEST`. `by`: whose marks
    come first where several people marked the same. At most four queries.
    """
    entry, clinic = swim.entry, swim.entry.clinic
    found = swims_of_same_person(swim, user).filter(
        start_at__lt=swim.start_at,
        entry__stroke=entry.stroke,
        entry__start=entry.start,
        entry__clinic__course_m=clinic.course_m,
        entry__clinic__distance_m=clinic.distance_m,
    )
    earlier = [one for one in found[:NEWEST] if same_person(swim, one)]
    until = [*reversed(earlier), swim]
    measured = measured_many(until, Mark.objects.visible_to(user), by=by)
    return [Told(one, measured[one.pk]) for one in until]


def series_until(told: Sequence[Told]) -> list[Series]:
    """The key measures that the last swim has and an earlier one, too."""
    found = []
    for key in KEY_MEASURES:
        had = ((one.swim, one.measured.get(*key)) for one in told)
        points = tuple((swim, measure) for swim, measure in had if measure is not None)
        if len(points) > 1 and points[-1][0].pk == told[-1].swim.pk:
            found.append(Series(points))
    return found
