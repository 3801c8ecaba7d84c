"""What a restore does again of the site's own: files, people, wishes to be erased, holds.

Registered for the lines of the deletion ledger (`portal.actions.replay`).
"""

from __future__ import annotations

import datetime as dt
import uuid

from django.db.models import Q, QuerySet
from django.utils.translation import gettext as _

from portal.actions import ledger
from portal.actions.erase import cooling_of
from portal.actions.replay import ROWS_ORDER
from portal.actions.requests import a_month_after, person_of
from portal.ledger_line import Line
from portal.models import Hold, Membership, PersonRequest, StoredFile, User
from portal.registry import LedgerReplay

A_MOMENT = dt.timedelta(minutes=1)  # between a row and the line that tells of it
LOOK_AGAIN = dt.timedelta(days=30)
State = PersonRequest.State


# --- files and people ---------------------------------------------------------------------------


def remove_file(line: Line) -> bool:
    """The file from disk, its row marked: as `files.remove`, without noting it anew."""
    file = StoredFile.objects.filter(pk=line.id).first()
    if file is None:
        return False
    path, was_ready = file.local_path(), file.state == StoredFile.State.READY
    was_there = path.exists()
    path.unlink(missing_ok=True)
    if was_ready:
        file.state, file.deleted_at = StoredFile.State.DELETED, line.when
        file.save(update_fields=["state", "deleted_at"])
    return was_there or was_ready


def end_membership(line: Line) -> bool:
    """As it ended then: its last day was the day before, or it never was."""
    day = line.when.date() - dt.timedelta(days=1)
    rows = Membership.objects.filter(pk=line.id)
    rows = rows.filter(Q(until_date__isnull=True) | Q(until_date__gt=day))
    if rows.filter(from_date__gt=day).delete()[0]:
        return True
    return bool(rows.update(until_date=day))


def shut_out(line: Line) -> bool:
    return bool(User.objects.filter(pk=line.id, is_active=True).update(is_active=False))


# --- wishes to be erased, within their cooling period -------------------------------------------


def _erasures(line: Line) -> QuerySet[PersonRequest]:
    return PersonRequest.objects.filter(
        kind=PersonRequest.Kind.ERASE, subject_kind=line.kind, subject_id=line.id
    )


def ask_again(line: Line) -> bool:
    """The person is hidden again at once, and erased on the day that was set."""
    person = person_of(line.kind, uuid.UUID(line.id))
    if person is None or _erasures(line).filter(made_at__gte=line.when - A_MOMENT).exists():
        return False
    PersonRequest.objects.create(
        kind=PersonRequest.Kind.ERASE,
        state=State.WAITING,
        club=person.club,
        user=person.user,
        subject_kind=line.kind,
        subject_id=line.id,
        made_at=line.when,
        due_at=a_month_after(line.when),
        act_at=line.when + cooling_of(person),
    )
    return True


def ask_no_more(line: Line) -> bool:
    waiting = _erasures(line).filter(state=State.WAITING, made_at__lte=line.when)
    return bool(waiting.update(state=State.TAKEN_BACK, answered_at=line.when))


# --- holds --------------------------------------------------------------------------------------


def hold_again(line: Line) -> bool:
    """Held is not visible. Why it was held stood in the row alone; its owner knows."""
    holds = Hold.objects.filter(subject_kind=line.kind, subject_id=line.id)
    if holds.filter(Q(ended_at=None) | Q(created_at__gte=line.when - A_MOMENT)).exists():
        return False
    Hold.objects.create(
        subject_kind=line.kind,
        subject_id=line.id,
        reason=_("Held before a backup was put back. Its reason is lost: ask its owner."),
        owner=User.objects.get(pk=line.by),
        review_on=line.when.date() + LOOK_AGAIN,
        created_at=line.when,
    )
    return True


def hold_no_more(line: Line) -> bool:
    holds = Hold.objects.filter(subject_kind=line.kind, subject_id=line.id, ended_at=None)
    return bool(holds.filter(created_at__lte=line.when).update(ended_at=line.when))


REPLAYS = (
    LedgerReplay("deleted portal.StoredFile", 100, remove_file),
    LedgerReplay("withdrawn portal.Membership", ROWS_ORDER, end_membership),
    LedgerReplay("withdrawn portal.User", ROWS_ORDER, shut_out),
    LedgerReplay(f"withdrawn * {ledger.WANTS_ERASURE}", ROWS_ORDER, ask_again),
    LedgerReplay(f"withdrawn * {ledger.WANTS_NO_ERASURE}", ROWS_ORDER, ask_no_more),
    LedgerReplay(f"withdrawn * {ledger.HOLD}", ROWS_ORDER, hold_again),
    LedgerReplay(f"withdrawn * {ledger.HOLD_ENDED}", ROWS_ORDER, hold_no_more),
)
