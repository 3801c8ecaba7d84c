"""Starts that were heard and stand in no start log: proposed as swims in running order, until a
person says so, or shifts the names."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db import transaction
from django.db.models import Exists, OuterRef, Q, QuerySet

from clinics.actions.errors import BadInput
from clinics.actions.errors import say as _
from clinics.actions.log import log_start, undo_start
from clinics.compute.running_order import Heard, name_starts, somebody_missing, went_twice
from clinics.models import Clinic, Consent, Entry, HeardStart, StartLogEntry
from clinics.privacy import FILM_AND_REVIEW
from portal.actions.audit import record

if TYPE_CHECKING:
    from portal.models import User

FROM_THE_SOUND = "from the sound"
AWAY, NOT_FILMED = StartLogEntry.Outcome.AWAY, StartLogEntry.Outcome.NOT_FILMED
MISSING, TWICE, AS_ORDERED = "missing", "twice", "as-ordered"  # ways to shift the names


@dataclass(frozen=True)
class Proposal:
    """A start that was heard, and who is proposed for it (None: nobody is left, or no start)."""

    heard: HeardStart
    entry: Entry | None
    is_start: bool
    agrees: bool


def proposals_of(clinic: Clinic) -> list[Proposal]:
    """In order of time: what is proposed, and what was dismissed (it can be taken back)."""
    rows, heard, order, entries = _as_heard(clinic)
    named = name_starts(heard, order)
    return [
        Proposal(
            heard=row,
            entry=entries.get(named.get(str(row.pk), "")),
            is_start=one.is_start,
            agrees=_agrees(entries.get(named.get(str(row.pk), ""))),
        )
        for row, one in zip(rows, heard, strict=True)
    ]


def not_in_the_log(clinic: Clinic) -> QuerySet[HeardStart]:
    """Starts of which no line of the start log speaks: one that was taken and whose line somebody
    took back on the start log's page is a proposal again."""
    in_the_log = Q(state=HeardStart.State.TAKEN, log_entry__undone_at__isnull=True)
    return HeardStart.objects.filter(clinic=clinic).exclude(in_the_log & Q(log_entry__isnull=False))


def proposed_count(clinic: Clinic) -> int:
    """How many heard starts wait for somebody to say whose they are."""
    return not_in_the_log(clinic).exclude(state=HeardStart.State.DISMISSED).count()


def taken_count(clinic: Clinic) -> int:
    """How many lines of the start log came from the sound."""
    return clinic.heard_starts.filter(
        state=HeardStart.State.TAKEN, log_entry__undone_at__isnull=True, log_entry__isnull=False
    ).count()


def _agrees(entry: Entry | None) -> bool:
    return entry is None or bool(getattr(entry, "agrees", False))


def _as_heard(
    clinic: Clinic,
) -> tuple[list[HeardStart], list[Heard], list[str], dict[str, Entry]]:
    rows = list(not_in_the_log(clinic).order_by("instant"))
    entries = {str(entry.pk): entry for entry in entries_of(clinic)}
    lines = clinic.start_log.filter(undone_at__isnull=True, entry__isnull=False)
    gone = lines.exclude(outcome=StartLogEntry.Outcome.SKIPPED)  # passed over: goes later
    logged = {str(pk) for pk in gone.values_list("entry_id", flat=True)}
    order = [pk for pk in entries if pk not in logged]
    heard = [
        Heard(
            str(row.pk),
            row.state != HeardStart.State.DISMISSED,
            str(row.entry_id) if row.entry_id else None,
        )
        for row in rows
    ]
    return rows, heard, order, entries


def entries_of(clinic: Clinic) -> list[Entry]:
    """The running order; each says whether its swimmer agrees to be filmed (`agrees`)."""
    consents = Consent.objects.filter(
        swimmer_id=OuterRef("swimmer_id"), purpose=FILM_AND_REVIEW, ended_at__isnull=True
    )
    rows = Entry.objects.filter(clinic=clinic).select_related("swimmer").order_by("order")
    return list(rows.annotate(agrees=Exists(consents)))


# --- shifting the names --------------------------------------------------------------------------


@transaction.atomic
def dismiss_heard_start(*, heard: HeardStart, by: User | None) -> None:
    """It was no start (a practice start, another sound): whoever follows moves up."""
    _change(heard, HeardStart.State.DISMISSED, None, "heard-start.dismissed", by)


@transaction.atomic
def choose_swimmer(*, heard: HeardStart, entry: Entry | None, by: User | None) -> None:
    """Say whose start it was; who follows goes on from there. None: who follows in running order.
    A start that was dismissed is one again."""
    if entry is not None and entry.clinic_id != heard.clinic_id:
        raise BadInput([(_("swimmer"), _("choose a swimmer of this clinic."))])
    _change(heard, HeardStart.State.PROPOSED, entry, "heard-start.named", by)


@transaction.atomic
def shift_names(*, heard: HeardStart, how: str, by: User | None) -> None:
    """At this start a swimmer is missing (the rest moves down), or the swimmer before went twice,
    or it is as in running order after all."""
    _rows, all_heard, order, entries = _as_heard(heard.clinic)
    key = str(heard.pk)
    if how == AS_ORDERED:
        choose_swimmer(heard=heard, entry=None, by=by)
        return
    if how not in (MISSING, TWICE):
        raise BadInput([("how", f"“{how}” is no way to shift names.")])
    whose = (somebody_missing if how == MISSING else went_twice)(all_heard, order, key)
    if whose is None:
        told = (
            _("nobody is left in the running order: choose the swimmer.")
            if how == MISSING
            else _("no start stands before this one: choose the swimmer.")
        )
        raise BadInput([(_("start"), told)])
    choose_swimmer(heard=heard, entry=entries[whose], by=by)


def _change(
    heard: HeardStart, state: str, entry: Entry | None, action: str, by: User | None
) -> None:
    _refuse_closed(heard.clinic)
    changed = HeardStart.objects.filter(pk__in=not_in_the_log(heard.clinic).filter(pk=heard.pk))
    if not changed.update(state=state, entry=entry):
        told = _("this start stands in the start log already; undo it there.")
        raise BadInput([(_("start"), told)])
    heard.state, heard.entry = state, entry
    detail = {"entry": str(entry.pk) if entry else ""}
    record(action=action, by=by, subject=heard, club=heard.clinic.club, detail=detail)


def _refuse_closed(clinic: Clinic) -> None:
    if clinic.state == Clinic.State.CLOSED:
        raise BadInput([("", _("This clinic is closed; its start log stays as it was."))])


# --- taking them into the start log ----------------------------------------------------------


@transaction.atomic
def take_heard_starts(
    *, clinic: Clinic, choices: Mapping[uuid.UUID, Entry], by: User | None
) -> list[StartLogEntry]:
    """Make a line of the start log of each start, with the swimmer chosen for it, and ask to fit
    the clocks anew. All or none. Taking the same twice changes nothing.

    Somebody who has not agreed to be filmed gets the line "away, has not agreed to be filmed",
    as at the pool, so that the span is shown to nobody.
    """
    from clinics.actions.align import ask_to_align  # aligning follows logging, not the other way

    _refuse_closed(clinic)
    Clinic.objects.select_for_update().get(pk=clinic.pk)  # two who confirm take turns
    rows = not_in_the_log(clinic).filter(pk__in=choices)
    agreeing = {entry.pk: entry.agrees for entry in entries_of(clinic)}  # type: ignore[attr-defined]
    foreign = [entry for entry in choices.values() if entry.pk not in agreeing]
    if foreign:
        raise BadInput([(_("swimmer"), _("choose a swimmer of this clinic."))])
    lines = []
    for row in rows:
        entry = choices[row.pk]
        line = log_start(
            clinic=clinic,
            client_id=_client_id(row),
            entry=entry,
            instant=row.instant,
            outcome=AWAY if agreeing[entry.pk] else NOT_FILMED,
            note=FROM_THE_SOUND,
            clock_run="sound",
            by=by,
        )
        row.state, row.entry, row.log_entry = HeardStart.State.TAKEN, entry, line
        row.save(update_fields=["state", "entry", "log_entry"])
        lines.append(line)
    if lines:
        detail = {"count": len(lines)}
        record(action="heard-starts.taken", by=by, subject=clinic, club=clinic.club, detail=detail)
        ask_to_align(clinic=clinic, by=by)
    return lines


def _client_id(row: HeardStart) -> str:
    """A new one each time it is taken: a line that was taken back stays in the log, undone."""
    name = f"heard-{row.pk}"
    known = StartLogEntry.objects.filter(clinic=row.clinic_id, client_id__startswith=name).count()
    return f"{name}-{known + 1}" if known else name


@transaction.atomic
def give_back_heard_starts(*, clinic: Clinic, by: User | None) -> int:
    """Take all that was taken from the sound out of the start log again; they are proposals once
    more, with the swimmers that they had. All or none: BadInput if clips were made of one."""
    from clinics.actions.align import ask_to_align

    _refuse_closed(clinic)
    rows = list(
        clinic.heard_starts.filter(
            state=HeardStart.State.TAKEN, log_entry__undone_at__isnull=True
        ).select_related("log_entry")
    )
    for row in rows:
        assert row.log_entry is not None  # filtered by it
        undo_start(clinic=clinic, client_id=row.log_entry.client_id, by=by)
    ids = [row.pk for row in rows]
    clinic.heard_starts.filter(pk__in=ids).update(state=HeardStart.State.PROPOSED, log_entry=None)
    if rows:
        detail = {"count": len(rows)}
        record(
            action="heard-starts.given-back", by=by, subject=clinic, club=clinic.club, detail=detail
        )
        ask_to_align(clinic=clinic, by=by)
    return len(rows)
