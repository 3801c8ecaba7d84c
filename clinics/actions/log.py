"""The start log: what was tapped at the pool, one line at a time or from a file. What phones send
in one go is taken in by log_sync.py; the swims that follow are settled in settle_swims.py."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Sequence
from dataclasses import dataclass

from django.db import transaction
from django.utils import timezone

from clinics.actions.errors import BadInput
from clinics.actions.errors import say as _
from clinics.actions.log_swims import TAP_U_MS, TOO_CLOSE, is_worked_on, make_swim
from clinics.actions.settle_swims import settle_swims
from clinics.compute.log_file import parse_log
from clinics.models import Clinic, Entry, Recording, StartLogEntry, Swim
from portal.actions.audit import record
from portal.models import User

__all__ = ["TAP_U_MS", "log_start", "take_in_log", "undo_start"]
AWAY = StartLogEntry.Outcome.AWAY
IN_PICTURE = (AWAY, StartLogEntry.Outcome.FALSE_START, StartLogEntry.Outcome.NOT_FILMED)
"""Somebody was in the lane, or about to be: recordings and what is dropped of them follow."""


@dataclass(frozen=True)
class LogTaken:
    added: int
    known: int
    swims: int


@transaction.atomic
def log_start(
    *,
    clinic: Clinic,
    client_id: str,
    entry: Entry | None,
    instant: dt.datetime,
    outcome: str,
    note: str = "",
    clock_run: str = "page",
    by: User | None,
) -> StartLogEntry:
    """Keep one line of the start log; with the outcome "away" it makes a swim.

    Sending the same `client_id` again changes nothing but a note that came later. A second
    tap for a swimmer within eight seconds is kept as a line, without a second swim.
    """
    clinic = lock_open(clinic)
    line, is_new = StartLogEntry.objects.get_or_create(
        clinic=clinic,
        client_id=client_id,
        defaults={
            "entry": entry,
            "instant": instant,
            "clock_run": clock_run,
            "outcome": outcome,
            "note": note,
            "logged_by": by,
        },
    )
    if not is_new:
        return _add_note(line, note, by)
    if outcome == AWAY and entry is not None and not _away_near(line):
        make_swim(line)
    if outcome in IN_PICTURE:
        align_anew(clinic, by)
    open_clinic(clinic)
    record(
        action="start.logged",
        by=by,
        subject=line,
        club=clinic.club,
        detail={"outcome": outcome},
    )
    return line


class ClinicClosed(BadInput):
    """Nothing is taken in any more; a phone keeps what it has."""


def lock_open(clinic: Clinic) -> Clinic:
    """All who change a clinic's log take turns, so that a start that two of them log at once
    makes one swim. Raises ClinicClosed."""
    clinic = Clinic.objects.select_for_update(of=("self",)).select_related("club").get(pk=clinic.pk)
    if clinic.state == Clinic.State.CLOSED:
        raise ClinicClosed([("", _("This clinic is closed; its start log stays as it was."))])
    return clinic


def _add_note(line: StartLogEntry, note: str, by: User | None) -> StartLogEntry:
    if note and note != line.note:
        line.note = note
        line.save(update_fields=["note"])
        record(action="start.noted", by=by, subject=line, club=line.clinic.club)
    return line


def _away_near(line: StartLogEntry) -> StartLogEntry | None:
    """Another start of the same swimmer within the seconds in which nobody goes twice."""
    same = StartLogEntry.objects.filter(
        entry=line.entry, outcome=AWAY, undone_at__isnull=True
    ).exclude(pk=line.pk)
    return same.filter(
        instant__gt=line.instant - TOO_CLOSE, instant__lt=line.instant + TOO_CLOSE
    ).first()


def open_clinic(clinic: Clinic) -> None:
    Clinic.objects.filter(pk=clinic.pk, state=Clinic.State.PLANNED).update(state="open")


def align_anew(clinic: Clinic, by: User | None) -> None:
    """A start that comes after the recordings has its clips to be cut; if it is not to be
    filmed, what is dropped is so at once."""
    from clinics.actions.align import ask_to_align  # aligning follows logging, not the other way
    from clinics.actions.dropped import plan_dropped

    if Recording.objects.filter(station__clinic=clinic, state=Recording.State.READY).exists():
        plan_dropped(clinic=clinic)
        ask_to_align(clinic=clinic, by=by)


@transaction.atomic
def undo_start(*, clinic: Clinic, client_id: str, by: User | None) -> StartLogEntry | None:
    """Take one line back. The line stays, marked as undone; its swim hangs on another line of the
    same start, or goes, unless clips were made of it or something was placed on it. None: no such
    line (it may not have been sent yet)."""
    clinic = lock_open(clinic)
    line = StartLogEntry.objects.filter(clinic=clinic, client_id=client_id).first()
    if line is None or line.undone_at is not None:
        return line
    for refusal in why_not_undone(clinic, [line]).values():
        raise refusal
    line.undone_at = timezone.now()
    line.save(update_fields=["undone_at"])
    settle_swims(clinic=clinic, entries={line.entry_id} if line.entry_id else set())
    if line.outcome in IN_PICTURE:
        align_anew(clinic, by)
    record(action="start.undone", by=by, subject=line, club=clinic.club)
    return line


def why_not_undone(clinic: Clinic, lines: Sequence[StartLogEntry]) -> dict[uuid.UUID, BadInput]:
    """Of these lines, if all of them were taken back at once, those that stay, with the reason: a
    swim that was worked on does not go with its line, unless another line has its start."""
    going = {line.pk: line for line in lines}
    swims = Swim.objects.filter(is_worked_on(), log_entry__in=going).select_related("entry")
    held = {swim.log_entry_id: swim for swim in swims if swim.log_entry_id}
    if not held:
        return {}
    stay = clinic.start_log.filter(outcome=AWAY, undone_at__isnull=True).exclude(pk__in=going)
    starts = list(stay.values_list("entry", "instant"))
    return {
        pk: _is_held(swim)
        for pk, swim in held.items()
        if not any(
            entry == going[pk].entry_id and abs(at - going[pk].instant) < TOO_CLOSE
            for entry, at in starts
        )
    }


def _is_held(swim: Swim) -> BadInput:
    told = _(
        "This start has clips or ties already. A checker can say on the check board that it is "
        "somebody else, or was no swim."
    )
    return BadInput([(_("number %(number)s", number=swim.entry.number), told)])


@transaction.atomic
def take_in_log(
    *, clinic: Clinic, text: str, by: User | None, source: str = "start log"
) -> LogTaken:
    """Take in a start log from a CSV text, whole or not at all; twice changes nothing.

    Raises BadInput with every bad row.
    """
    clinic = lock_open(clinic)
    entries = {entry.number: entry for entry in clinic.entries.all()}
    if not entries:
        told = _("this clinic has no running order yet. Take in a roster first.")
        raise BadInput([(source, told)])
    rows = parse_log(text, zone=clinic.zone, date=clinic.date, numbers=entries, source=source)
    known = set(clinic.start_log.values_list("client_id", flat=True))
    new = [row for row in rows if row.client_id not in known]
    lines, errors = [], []
    for row in new:
        line = StartLogEntry(
            clinic=clinic,
            client_id=row.client_id,
            entry=entries[row.number],
            instant=row.instant,
            outcome=row.outcome,
            note=row.note,
            logged_by=by,
        )
        other = _away_near(line) if row.outcome == AWAY else None
        if other is not None:
            at = other.instant.astimezone(clinic.zone).strftime("%H:%M:%S.%f")[:-5]
            errors.append(
                (
                    _("%(place)s, row %(row)s", place=source, row=row.row),
                    _(
                        "number %(number)s is logged away at %(at)s already. If that line is "
                        "wrong, undo it on the start log's page first.",
                        number=row.number,
                        at=at,
                    ),
                )
            )
        line.save()
        lines.append(line)
    if errors:
        raise BadInput(errors)
    swims = [make_swim(line) for line in lines if line.outcome == AWAY]
    if lines:
        open_clinic(clinic)
    if any(line.outcome in IN_PICTURE for line in lines):
        align_anew(clinic, by)
    taken = LogTaken(added=len(lines), known=len(rows) - len(new), swims=len(swims))
    record(
        action="start-log.taken-in",
        by=by,
        subject=clinic,
        club=clinic.club,
        detail={"added": taken.added, "known": taken.known, "swims": taken.swims},
    )
    return taken
