"""Doing again what the deletion ledger says, after a restore and before anything is served.

What was deleted is deleted again; what was withdrawn since the backup ends again, at the instant
at which it ended. All of it may run twice, and does: the second round must find nothing to do.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import islice

from django.apps import apps
from django.core.exceptions import FieldDoesNotExist
from django.db import models, transaction
from django.db.models import ProtectedError, RestrictedError

from portal.actions import ledger
from portal.actions.ledger import DELETED, WITHDRAWN
from portal.ledger_line import Line
from portal.registry import (
    LedgerReplay,
    PersonSource,
    erasure_steps,
    ledger_replays,
    person_sources,
)

ROWS_ORDER = 500  # where there is no more to do than to delete the row, or to end it
CHUNK = 500
# A line is dated when its transaction notes it, which may commit after a backup has begun.
BEFORE_THE_BACKUP = dt.timedelta(hours=1)


class ReplayFailed(Exception):
    """Something could not be done again; the sentence names it."""


@dataclass(frozen=True)
class Replayed:
    deleted: int
    withdrawn: int


def replay(*, backup_at: dt.datetime) -> Replayed:
    """Do it all again, then look whether all of it is done. Raises ReplayFailed, LedgerBroken."""
    first, second = _round(backup_at), _round(backup_at)
    if second != Replayed(0, 0):
        raise ReplayFailed("What the ledger says was not done by doing it again.")
    return first


def _round(backup_at: dt.datetime) -> Replayed:
    since = backup_at - BEFORE_THE_BACKUP
    deleted, withdrawn = [], []
    for line in ledger.lines():
        if line.what == DELETED:
            deleted.append(line)
        elif line.when >= since:
            withdrawn.append(line)
    gone = {(line.kind, line.id) for line in deleted}
    still = [line for line in withdrawn if (line.kind, line.id) not in gone]
    return Replayed(_do_all(deleted), _do_all(still))


def _do_all(lines: list[Line]) -> int:
    """In the order of their replays; a row that another one protects waits until that is gone."""
    count, left = 0, sorted(_of_rows_there(lines), key=_order)
    while left:
        blocked: list[tuple[Line, Exception]] = []
        for line in left:
            try:
                with transaction.atomic():
                    count += _do(line)
            except (ProtectedError, RestrictedError) as problem:
                blocked.append((line, problem))
        if len(blocked) == len(left):
            line, why = blocked[0]
            raise ReplayFailed(f"{line.kind} {line.id} could not be deleted again: {why}")
        left = [line for line, _ in blocked]
    return count


def _of_rows_there(lines: Iterable[Line]) -> Iterator[Line]:
    """Most lines are of rows that no backup brings back: asked in bulk."""
    by_kind: dict[str, list[Line]] = {}
    for line in lines:
        by_kind.setdefault(line.kind, []).append(line)
    for kind, of_kind in by_kind.items():
        rest = iter(of_kind)
        while chunk := list(islice(rest, CHUNK)):
            ids = {uuid.UUID(line.id) for line in chunk}
            there = set(_model(kind)._base_manager.filter(pk__in=ids).values_list("pk", flat=True))
            yield from (line for line in chunk if uuid.UUID(line.id) in there)


def _model(kind: str) -> type[models.Model]:
    try:
        return apps.get_model(kind)
    except (LookupError, ValueError):
        raise ReplayFailed(f"This release knows no “{kind}”, of which the ledger tells.") from None


def _registered(line: Line) -> LedgerReplay | None:
    """The most particular one: of this kind and purpose, of this purpose, of this kind."""
    known = {replay.name: replay for replay in ledger_replays.all()}
    of_purpose = (f"{line.kind} {line.purpose}", f"* {line.purpose}") if line.purpose else ()
    names = [f"{line.what} {rest}" for rest in (*of_purpose, line.kind)]
    return next((known[name] for name in names if name in known), None)


def _order(line: Line) -> int:
    known = _registered(line)
    return known.order if known else ROWS_ORDER


def _do(line: Line) -> bool:
    known = _registered(line)
    if known is not None:
        return known.run(line)
    if line.what == WITHDRAWN:
        return _end_row(line)
    source = next((known for known in person_sources.all() if known.name == line.kind), None)
    return _erase_person(line, source) if source else _delete_row(line)


def _delete_row(line: Line) -> bool:
    return bool(_model(line.kind)._base_manager.filter(pk=line.id).delete()[0])


def _erase_person(line: Line, source: PersonSource) -> bool:
    """Of somebody in footage more goes than the row that stands for them, and some of it, without
    the person, stays."""
    person = source.find(uuid.UUID(line.id))
    if person is None:
        return False
    steps = sorted(erasure_steps.all(), key=lambda step: step.order)
    found = [step.find(person) for step in steps if step.find is not None]
    for step in steps:
        step.run(person)
    return any(one.files or any(one.rows.values()) for one in found)


def _end_row(line: Line) -> bool:
    model = _model(line.kind)
    try:
        model._meta.get_field("ended_at")
    except FieldDoesNotExist:
        raise ReplayFailed(f"How a {line.kind} is ended ({line.purpose}) is not known.") from None
    running = model._base_manager.filter(pk=line.id, ended_at__isnull=True)
    return bool(running.update(ended_at=line.when))
