"""The swims that follow from the lines of the start log, settled from all of them together.

Each start that was logged away is one swim, however many phones logged it; the line that leads
(clinics/compute/logged_starts.py) gives its instant while the start is known by nothing better
than the tap. The order in which lines came changes nothing.

A swim that a person worked on (clips made, a recording tied to it, passed on) is not taken away
here, and one that somebody took away on purpose is not made again.
"""

from __future__ import annotations

import datetime as dt
import math
import uuid
from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field

from django.db.models import Exists, F, Max, OuterRef

from clinics.actions.log_swims import (
    AWAY,
    TOO_CLOSE,
    as_logged,
    as_tapped,
    is_worked_on,
    loggers_of,
    tap_u_ms,
)
from clinics.compute.logged_starts import leading, same_starts
from clinics.models import Clinic, StartLogEntry, Swim

FREE_GO = 10_000  # goes step aside to here while they are numbered anew


@dataclass(frozen=True)
class Was:
    """What a line said before it was placed anew."""

    instant: dt.datetime
    u_ms: float  # of the tap, with the clock

    @classmethod
    def of(cls, line: StartLogEntry) -> Was:
        return cls(line.instant, tap_u_ms(line))


@dataclass
class Settled:
    """What `settle_swims` did. `moved_ms`: by how much a start was moved at most."""

    made: int = 0
    removed: int = 0
    moved_ms: float = 0.0

    @property
    def changed(self) -> bool:
        return bool(self.made or self.removed)


@dataclass
class _Work:
    """The rows of some swimmers, and what is to be written."""

    lines: dict[str, StartLogEntry]
    swims: dict[uuid.UUID, Swim]  # by line
    was: Mapping[uuid.UUID, Was]
    make: list[Swim] = field(default_factory=list)
    save: dict[uuid.UUID, Swim] = field(default_factory=dict)
    remove: list[Swim] = field(default_factory=list)
    other_line: set[uuid.UUID] = field(default_factory=set)  # swims that hang on another one now
    hung: dict[uuid.UUID, bool] = field(default_factory=dict)  # by line: had_swim
    moved_ms: float = 0.0

    def hang(self, swim: Swim, line: StartLogEntry) -> None:
        if swim.log_entry_id != line.pk:
            assert swim.log_entry_id is not None  # found by its line
            self.hung[swim.log_entry_id] = False
            swim.log_entry = line
            self.other_line.add(swim.pk)
            self.save[swim.pk] = swim
        self.hung[line.pk] = True

    def drop(self, swim: Swim) -> None:
        assert swim.log_entry_id is not None
        self.hung[swim.log_entry_id] = False
        self.remove.append(swim)


def settle_swims(
    *, clinic: Clinic, entries: Collection[uuid.UUID], was: Mapping[uuid.UUID, Was] | None = None
) -> Settled:
    """Bring the swims of these entries in line with their lines. Twice changes nothing.

    `was`: of lines that were placed anew, what they said before. Made are only swims of starts
    that a phone logged, since lines that come otherwise make theirs at once; a line that was taken
    back gives its swim to another one of the same start, or it goes. Queries do not grow with the
    number of entries.
    """
    if not entries:
        return Settled()
    found = StartLogEntry.objects.filter(clinic=clinic, entry__in=entries, outcome=AWAY)
    lines = list(found.select_related("entry", "phone").order_by("instant", "client_id"))
    swims = Swim.objects.filter(log_entry__in=lines).annotate(worked_on=_flag())
    work = _Work(
        {str(line.pk): line for line in lines},
        {swim.log_entry_id: swim for swim in swims if swim.log_entry_id},
        was or {},
    )
    loggers = loggers_of(clinic)
    by_entry: dict[uuid.UUID | None, list[StartLogEntry]] = defaultdict(list)
    for line in lines:
        by_entry[line.entry_id].append(line)
    for its in by_entry.values():
        _settle(work, its, loggers)
    _write(work)
    _number_goes(entries)
    return Settled(len(work.make), len(work.remove), work.moved_ms)


def _flag() -> Exists:
    return Exists(Swim.objects.filter(is_worked_on(), pk=OuterRef("pk")))


def _settle(work: _Work, its: list[StartLogEntry], loggers: Collection[uuid.UUID]) -> None:
    alive = [as_logged(line, loggers=loggers, swims_s=0.0) for line in its if not line.undone_at]
    orphans = [work.swims[line.pk] for line in its if line.undone_at and line.pk in work.swims]
    for group in same_starts(alive):
        rows = [work.lines[one.key] for one in group]
        adopted = [swim for swim in orphans if _belongs(work, swim, rows)]
        orphans = [swim for swim in orphans if swim not in adopted]
        _settle_start(work, rows, work.lines[leading(group).key], adopted)
    for swim in orphans:
        if not swim.worked_on:  # type: ignore[attr-defined]
            work.drop(swim)


def _belongs(work: _Work, swim: Swim, rows: Iterable[StartLogEntry]) -> bool:
    """Its line was taken back; others of the same start stay."""
    line = work.lines[str(swim.log_entry_id)]
    return any(abs(row.instant - line.instant) < TOO_CLOSE for row in rows)


def _settle_start(
    work: _Work, rows: list[StartLogEntry], lead: StartLogEntry, adopted: list[Swim]
) -> None:
    by_phone = any(row.phone_id for row in rows)
    its = [work.swims[row.pk] for row in rows if row.pk in work.swims]
    if not its and not adopted:
        lost = any(row.had_swim and row.pk not in work.swims for row in rows)
        if by_phone and not lost:
            work.make.append(Swim(**as_tapped(lead)))
            work.hung[lead.pk] = True
        return
    first, *others = sorted([*its, *adopted], key=_worth)
    for other in others:
        if by_phone and not other.worked_on:  # type: ignore[attr-defined]
            work.drop(other)
    own = work.lines[str(first.log_entry_id)]
    if first in adopted or (by_phone and first.start_kind == Swim.StartKind.TAP):
        free = lead.pk == own.pk or lead.pk not in work.swims or work.swims[lead.pk] in work.remove
        line = lead if free else next((row for row in rows if row.pk not in work.swims), own)
        _move(work, first, own, line)


def _worth(swim: Swim) -> tuple[bool, int, str]:
    """Of several swims of one start the first by this stays."""
    return (not swim.worked_on, swim.go, str(swim.pk))  # type: ignore[attr-defined]


def _move(work: _Work, swim: Swim, own: StartLogEntry, line: StartLogEntry) -> None:
    """Onto `line`, and along with its instant: by as much as that is away from what the own line
    said, so that what a fit has taken off all taps stays taken off."""
    before = work.was.get(own.pk) or Was.of(own)
    work.hang(swim, line)
    if swim.start_kind != Swim.StartKind.TAP:
        return
    by, u_ms = line.instant - before.instant, tap_u_ms(line)
    if not by and u_ms == before.u_ms:
        return
    swim.start_at += by
    if swim.start_u_ms == before.u_ms:
        swim.start_u_ms = u_ms
    else:
        rest_ms2 = max(swim.start_u_ms**2 - before.u_ms**2, 0.0)
        swim.start_u_ms = round(math.sqrt(u_ms**2 + rest_ms2), 1)
    work.save[swim.pk] = swim
    work.moved_ms = max(work.moved_ms, abs(by.total_seconds()) * 1000)


def _write(work: _Work) -> None:
    """What goes first, so that its line is free for another one."""
    gone = {swim.pk for swim in work.remove}
    if gone:
        Swim.objects.filter(pk__in=gone).delete()
    kept = [swim for pk, swim in work.save.items() if pk not in gone]
    Swim.objects.filter(pk__in=work.other_line - gone).update(
        log_entry=None
    )  # they may change places
    Swim.objects.bulk_update(kept, ["log_entry", "start_at", "start_u_ms"])
    if work.make:
        last = _last_goes({swim.entry_id for swim in work.make})
        for swim in work.make:
            last[swim.entry_id] = swim.go = last.get(swim.entry_id, 0) + 1
        Swim.objects.bulk_create(work.make)
    for had_swim in (True, False):
        keys = [pk for pk, has in work.hung.items() if has is had_swim]
        rows = StartLogEntry.objects.filter(pk__in=keys).exclude(had_swim=had_swim)
        rows.update(had_swim=had_swim)


def _last_goes(entries: Collection[uuid.UUID]) -> dict[uuid.UUID, int]:
    rows = Swim.objects.filter(entry__in=entries).order_by().values("entry")
    return dict(rows.annotate(last=Max("go")).values_list("entry", "last"))


def _number_goes(entries: Collection[uuid.UUID]) -> None:
    """By the order of their starts, as long as nobody has worked on one of them: the second go may
    have come from its phone before the first."""
    swims = Swim.objects.filter(entry__in=entries).annotate(worked_on=_flag())
    by_entry: dict[uuid.UUID, list[Swim]] = defaultdict(list)
    fixed = set()
    for one in swims.order_by("start_at", "pk"):
        by_entry[one.entry_id].append(one)
        if one.worked_on:
            fixed.add(one.entry_id)
    wrong = []
    for entry, its in by_entry.items():
        goes = range(1, len(its) + 1)
        if entry not in fixed and [one.go for one in its] != list(goes):
            for swim, go in zip(its, goes, strict=True):
                swim.go = go
                wrong.append(swim)
    if wrong:
        Swim.objects.filter(pk__in=[swim.pk for swim in wrong]).update(go=F("go") + FREE_GO)
        Swim.objects.bulk_update(wrong, ["go"])
