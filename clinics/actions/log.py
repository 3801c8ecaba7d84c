"""The start log: what was tapped at the pool, and the swims that follow from it."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from django.db import transaction
from django.db.models import Max
from django.utils import timezone

from clinics.actions.errors import BadInput
from clinics.actions.errors import say as _
from clinics.compute.log_file import TOO_CLOSE_S, parse_log
from clinics.models import Clinic, Clip, Entry, Recording, StartLogEntry, Swim, Tie
from portal.actions.audit import record
from portal.models import User

# Standard uncertainty of a tapped start against the other starts of its clinic. From the
# project's own experiment: taps scatter by 80 ms, and one in ten is up to 0.4 s later still:
# sqrt(0.08² + 0.1 * 0.4² - (0.1 * 0.4)²) = 0.144 s. How late taps are as a whole (about
# 0.2 s) shifts all alike and is not part of it.
TAP_U_MS = 150.0
AWAY = StartLogEntry.Outcome.AWAY


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
    _refuse_closed(clinic)
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
        _make_swim(line)
        _align_anew(clinic, by)
    elif outcome != StartLogEntry.Outcome.NO_SHOW:  # in picture without a swim: perhaps dropped
        _align_anew(clinic, by)
    _open(clinic)
    record(
        action="start.logged",
        by=by,
        subject=line,
        club=clinic.club,
        detail={"outcome": outcome},
    )
    return line


def _refuse_closed(clinic: Clinic) -> None:
    if clinic.state == Clinic.State.CLOSED:
        raise BadInput([("", _("This clinic is closed; its start log stays as it was."))])


def _add_note(line: StartLogEntry, note: str, by: User | None) -> StartLogEntry:
    if note and note != line.note:
        line.note = note
        line.save(update_fields=["note"])
        record(action="start.noted", by=by, subject=line, club=line.clinic.club)
    return line


def _away_near(line: StartLogEntry) -> StartLogEntry | None:
    """Another start of the same swimmer within the seconds in which nobody goes twice."""
    span = dt.timedelta(seconds=TOO_CLOSE_S)
    same = StartLogEntry.objects.filter(
        entry=line.entry, outcome=AWAY, undone_at__isnull=True
    ).exclude(pk=line.pk)
    return same.filter(instant__gt=line.instant - span, instant__lt=line.instant + span).first()


def _make_swim(line: StartLogEntry) -> Swim:
    last = Swim.objects.filter(entry=line.entry).aggregate(last=Max("go"))["last"] or 0
    assert line.entry is not None  # every line that makes a swim names its swimmer
    return Swim.objects.create(
        entry=line.entry,
        go=last + 1,
        log_entry=line,
        start_at=line.instant,
        start_kind=Swim.StartKind.TAP,
        start_u_ms=TAP_U_MS,
    )


def _open(clinic: Clinic) -> None:
    Clinic.objects.filter(pk=clinic.pk, state=Clinic.State.PLANNED).update(state="open")


def _align_anew(clinic: Clinic, by: User | None) -> None:
    """A start that comes after the recordings has its clips to be cut; if it is not to be
    filmed, what is dropped is so at once."""
    from clinics.actions.align import ask_to_align  # aligning follows logging, not the other way
    from clinics.actions.dropped import plan_dropped

    if Recording.objects.filter(station__clinic=clinic, state=Recording.State.READY).exists():
        plan_dropped(clinic=clinic)
        ask_to_align(clinic=clinic, by=by)


@transaction.atomic
def undo_start(*, clinic: Clinic, client_id: str, by: User | None) -> StartLogEntry | None:
    """Take one line back. The line stays, marked as undone; its swim goes, unless clips
    were made of it or something was placed on it. None: no such line (it may not have been
    sent yet)."""
    _refuse_closed(clinic)
    line = StartLogEntry.objects.filter(clinic=clinic, client_id=client_id).first()
    if line is None or line.undone_at is not None:
        return line
    swim = Swim.objects.filter(log_entry=line).first()
    if swim is not None:
        _remove_swim(swim)
    line.undone_at = timezone.now()
    line.save(update_fields=["undone_at"])
    _align_anew(clinic, by)
    record(action="start.undone", by=by, subject=line, club=clinic.club)
    return line


def _remove_swim(swim: Swim) -> None:
    made = Clip.objects.filter(swim=swim, files__isnull=False).exists()
    tied = swim.ties.filter(found_by=Tie.FoundBy.PERSON).exists()  # the rest is found anew
    if made or tied or swim.passed_at is not None:
        raise BadInput(
            [
                (
                    _("number %(number)s", number=swim.entry.number),
                    _(
                        "This start has clips or ties already. A checker can say on the check "
                        "board that it is somebody else, or was no swim."
                    ),
                )
            ]
        )
    swim.delete()


@transaction.atomic
def take_in_log(
    *, clinic: Clinic, text: str, by: User | None, source: str = "start log"
) -> LogTaken:
    """Take in a start log from a CSV text, whole or not at all; twice changes nothing.

    Raises BadInput with every bad row.
    """
    _refuse_closed(clinic)
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
    swims = [_make_swim(line) for line in lines if line.outcome == AWAY]
    if lines:
        _open(clinic)
    if any(line.outcome != StartLogEntry.Outcome.NO_SHOW for line in lines):
        _align_anew(clinic, by)
    taken = LogTaken(added=len(lines), known=len(rows) - len(new), swims=len(swims))
    record(
        action="start-log.taken-in",
        by=by,
        subject=clinic,
        club=clinic.club,
        detail={"added": taken.added, "known": taken.known, "swims": taken.swims},
    )
    return taken
