"""A swimmer's measures over clinics: which swims, which measures, and what differs.

Swims are compared that were swum alike: the same stroke, start and course. Which swims there are
is for the fence to say; nothing here tells that others exist.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db.models import Q, QuerySet

from clinics.models import Swim
from feedback.actions.comparable import same_person
from feedback.actions.measured import measured_many
from feedback.compute.measuring.measure import Measure
from feedback.compute.measuring.uncertain import Quantity
from feedback.compute.measuring.whole import Measured
from feedback.models import Mark

if TYPE_CHECKING:
    from portal.models import User

NEWEST = 200  # swims of one page; older ones are said to be left out
# Those that do not hang on how a club times its turns, so that clubs can be compared.
KEY_MEASURES: tuple[tuple[str, int | None, float | None], ...] = (
    ("time-to-distance", None, 5.0),
    ("time-to-distance", None, 10.0),
    ("time-to-distance", None, 15.0),
    ("block-time", None, None),
    ("flight-time", None, None),
    ("breakout-time", None, None),
    ("underwater-distance", 1, None),
    ("stroke-rate", 1, None),
    ("stroke-length", 1, None),
    ("swimming-speed", 1, None),
    ("split", 1, None),
    ("turn-wall", 1, None),
    ("push-off-time", 1, None),
    ("underwater-distance", 2, None),
    ("fade", None, None),
)


@dataclass(frozen=True)
class Told:
    """A swim with its measures."""

    swim: Swim
    measured: Measured


@dataclass(frozen=True)
class Series:
    """One measure over the swims that have it, oldest first."""

    points: tuple[tuple[Swim, Measure], ...]

    @property
    def newest(self) -> tuple[Swim, Measure]:
        return self.points[-1]

    def before(self) -> tuple[Swim, Measure] | None:
        """What the newest is held against: last clinic's, or the go before."""
        swim = self.newest[0]
        earlier = self.points[:-1]
        elsewhere = [one for one in earlier if one[0].entry.clinic_id != swim.entry.clinic_id]
        return (elsewhere or earlier)[-1] if earlier else None


@dataclass(frozen=True)
class Alike:
    """Swims of one stroke, start and course, oldest first."""

    swims: tuple[Told, ...]
    series: tuple[Series, ...]

    @property
    def first(self) -> Swim:
        return self.swims[0].swim


def own_swims(user: User) -> QuerySet[Swim]:
    """What was given to the user as a swimmer, in all clinics of all clubs."""
    mine = Swim.objects.reviewed_by(user).filter(entry__swimmer__user=user)
    return _with_entry(mine.filter(given_at__isnull=False))


def swims_of_same_person(swim: Swim, user: User) -> QuerySet[Swim]:
    """Of the same swimmer, or of the same account: those that the user reviews."""
    swimmer = swim.entry.swimmer
    person = Q(entry__swimmer=swimmer)
    if swimmer.user_id is not None:
        person |= Q(entry__swimmer__user_id=swimmer.user_id)
    return _with_entry(Swim.objects.reviewed_by(user).filter(person))


def _with_entry(swims: QuerySet[Swim]) -> QuerySet[Swim]:
    return swims.select_related("entry__swimmer", "entry__clinic").order_by("-start_at", "pk")


def measured_swims(
    swims: QuerySet[Swim], user: User, *, of: Swim | None = None
) -> tuple[list[Told], bool]:
    """The newest of them, oldest first, with their measures, and whether older ones are left
    out. `of`: only of the person of this swim. Three queries, however many swims."""
    found = list(swims[: NEWEST + 1])
    left_out = len(found) > NEWEST
    kept = [one for one in found[:NEWEST] if of is None or same_person(of, one)]
    measured = measured_many(kept, Mark.objects.visible_to(user))
    return [Told(swim, measured[swim.pk]) for swim in reversed(kept)], left_out


def by_kind(told: Sequence[Told]) -> list[Alike]:
    """Those with measures, by stroke, start and course; the kind swum last comes first."""
    kinds: dict[tuple[str, str, float], list[Told]] = {}
    for one in told:
        if one.measured.measures:
            entry = one.swim.entry
            kinds.setdefault((entry.stroke, entry.start, entry.clinic.course_m), []).append(one)
    found = [Alike(tuple(its), tuple(_series(its))) for its in kinds.values()]
    return sorted(found, key=lambda alike: alike.swims[-1].swim.start_at, reverse=True)


def _series(told: Sequence[Told]) -> list[Series]:
    series = []
    for key, number, at_m in KEY_MEASURES:
        had = ((one.swim, one.measured.get(key, number, at_m)) for one in told)
        points = tuple((swim, measure) for swim, measure in had if measure is not None)
        if points:
            series.append(Series(points))
    return series


def difference(one: tuple[Swim, Measure], other: tuple[Swim, Measure]) -> Quantity:
    """The first less the second. Each swim has a start of its own (`Zero.key`): its error is one
    and the same in the measures of one swim, and not between two."""
    return one[1].quantity - other[1].quantity
