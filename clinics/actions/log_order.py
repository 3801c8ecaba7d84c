"""In which order swimmers stand on the start log's page."""

from __future__ import annotations

import datetime as dt
import uuid
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.db.models import Exists, OuterRef

from clinics.actions.errors import BadInput
from clinics.actions.pool_hour_day import day_of
from clinics.models import Clinic, Consent, DayWish, Entry, StartLogEntry, Swim
from clinics.privacy import FILM_AND_REVIEW

Outcome = StartLogEntry.Outcome
GONE = (Outcome.AWAY, Outcome.NOT_FILMED, Outcome.NO_SHOW)


@dataclass(frozen=True)
class Order:
    """`entries`: everybody once, who has gone first, each with `agrees`. `next_up`: numbers of who
    is to go, in order; a second go stands there as well. `lane_groups`: their names, in order."""

    entries: list[Entry]
    next_up: list[int]
    lane_groups: list[str]


def order_of(clinic: Clinic, lines: Iterable[StartLogEntry], now: dt.datetime) -> Order:
    """As planned again from the log where the pool hour is known; else in running order, who was
    passed over at the end of their group, second goes at the end of all. `lines` in order of
    time, with `entry`."""
    consents = Consent.objects.filter(
        swimmer_id=OuterRef("swimmer_id"), purpose=FILM_AND_REVIEW, ended_at__isnull=True
    )
    rows = Entry.objects.filter(clinic=clinic).select_related("swimmer", "lane_group")
    entries = list(rows.annotate(agrees=Exists(consents)).order_by("order", "number"))
    by_number = {entry.number: entry for entry in entries}
    next_up = _replanned(clinic, now)
    if next_up is None:
        next_up = _in_running_order(clinic, entries, lines)
    coming = [by_number[number] for number in dict.fromkeys(next_up) if number in by_number]
    gone = [entry for entry in entries if entry.number not in set(next_up)]
    names = dict.fromkeys(entry.lane_group.name for entry in entries)
    return Order([*gone, *coming], next_up, list(names))


def _replanned(clinic: Clinic, now: dt.datetime) -> list[int] | None:
    """None: no pool hour is planned, or it cannot be."""
    try:
        day = day_of(clinic, now)
    except BadInput:
        return None
    return [entry.number for entry in day.next_up] if day is not None else None


def _in_running_order(
    clinic: Clinic, entries: Sequence[Entry], lines: Iterable[StartLogEntry]
) -> list[int]:
    swims = Swim.objects.filter(entry__clinic=clinic)
    goes: Counter[uuid.UUID] = Counter(swims.values_list("entry_id", flat=True))
    last = {line.entry_id: line.outcome for line in lines if line.undone_at is None}
    places = {
        pk: place for place, pk in enumerate(dict.fromkeys(one.lane_group_id for one in entries))
    }
    waiting = [one for one in entries if not goes[one.pk] and last.get(one.pk) not in GONE]
    passed_over = {one.pk for one in waiting if last.get(one.pk) == Outcome.SKIPPED}
    waiting.sort(key=lambda one: (places[one.lane_group_id], one.pk in passed_over))
    wishes = DayWish.objects.filter(entry__clinic=clinic, kind=DayWish.Kind.SECOND_GO)
    asked = wishes.order_by("said_at").values_list("entry_id", "entry__number")
    return [one.number for one in waiting] + [number for pk, number in asked if goes[pk] == 1]
