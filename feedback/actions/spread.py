"""A swim among those of its clinic, without names: the middle and the middle half of the others.

The others are the swimmers of the same clinic who swam alike (stroke, start; course and distance
are the clinic's), who agree now that their measures count (`Swim.counted`). One value for each of
them, the mean over their goes. Fewer than five: nothing, and nobody is told how many there are.

The person whose swim it is never counts beside it, whatever they agreed to. Else they could end
and give their own agreement and read from what changes what one other person reached: with five
others and their own, known value even the lowest. So also nobody has to agree in order to look:
what is shown is about others alone. The swims of one person have the same others, and an account
of two people has neither of them among either's, so that nobody has two of their own pages to
compare. Two people who lay their pages beside each other, and whoever looks before and after
somebody's answer, see figures of groups that differ by a person; that these are rounded
(compute/measuring/spread.py) is all that stands against it, and the consent text says that
somebody who knows the others could guess. A coach of the clinic reads the same as the swimmer,
and sees each swim with its measures anyway.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db.models import Q

from clinics.models import Swim
from feedback.actions.measured import measured_many
from feedback.actions.progress import KEY_MEASURES
from feedback.compute.measuring.measure import Measure
from feedback.compute.measuring.spread import LEAST, Spread, of_one_person, spread
from feedback.compute.measuring.whole import Measured
from feedback.models import Mark

if TYPE_CHECKING:
    from django.db.models import QuerySet

    from clinics.models import Swimmer


@dataclass(frozen=True)
class Among:
    """One measure of the swim, and the spread of the others; None: too few of them have it."""

    measure: Measure
    spread: Spread | None


def swims_of_others(swim: Swim) -> QuerySet[Swim]:
    """Those that count beside this one. The swim comes with its entry and swimmer."""
    entry = swim.entry
    alike = Swim.objects.counted().filter(
        entry__clinic_id=entry.clinic_id, entry__stroke=entry.stroke, entry__start=entry.start
    )
    own = Q(entry__swimmer_id=entry.swimmer_id)
    if entry.swimmer.user_id is not None:
        own |= Q(entry__swimmer__user_id=entry.swimmer.user_id)
    return alike.exclude(own).select_related("entry__swimmer", "entry__clinic")


def among_others(swim: Swim, measured: Measured) -> list[Among]:
    """The key measures that the swim has. At most four queries, however many others there are;
    one where it has none, or the others are too few."""
    own = [measured.get(*key) for key in KEY_MEASURES]
    if not any(own):
        return []
    groups = _by_person(swims_of_others(swim))
    if len(groups) < LEAST:
        return [Among(one, None) for one in own if one is not None]
    every = [one for goes in groups for one in goes]
    found = measured_many(every, Mark.objects.all())
    of_each = [[found[one.pk] for one in goes] for goes in groups]
    return [
        Among(one, _spread(of_each, key))
        for key, one in zip(KEY_MEASURES, own, strict=True)
        if one is not None
    ]


def _by_person(swims: QuerySet[Swim]) -> list[list[Swim]]:
    people: dict[object, list[Swim]] = {}
    for swim in swims.order_by("start_at", "pk"):
        people.setdefault(_person(swim.entry.swimmer), []).append(swim)
    return list(people.values())


def _person(swimmer: Swimmer) -> object:
    """Somebody who stands on the club's list twice, with one account and name, is one person."""
    if swimmer.user_id is None:
        return swimmer.pk
    return swimmer.user_id, swimmer.name.casefold()


def _spread(
    of_each: Sequence[Sequence[Measured]], key: tuple[str, int | None, float | None]
) -> Spread | None:
    values = []
    for goes in of_each:
        had = [one.quantity for measured in goes if (one := measured.get(*key)) is not None]
        value = of_one_person(had)
        if value is not None:
            values.append(value)
    return spread(values)
