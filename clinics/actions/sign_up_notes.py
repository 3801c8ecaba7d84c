"""What swimmers tell the coaches of one clinic: written, read by those alone, forgotten.

Every reading goes through `EntryNote.objects.visible_to` (clinics/privacy_notes.py).
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db import transaction
from django.db.models import Prefetch
from django.utils import timezone

from clinics.actions.sign_up_state import State
from clinics.models import Clinic, Entry, EntryNote, SignUp
from portal.actions import limits
from portal.actions.audit import record
from portal.actions.ledger import note_deleted

if TYPE_CHECKING:
    from portal.models import User

LOOKED_AGAIN = dt.timedelta(minutes=15)  # within it, reading is one reading in the access record


@dataclass(frozen=True)
class Notes:
    """None: stays as it is; empty: is deleted."""

    look_at: str | None = None
    injuries: str | None = None


@dataclass(frozen=True)
class EntryNotes:
    """What a reader may see of one swimmer's notes."""

    look_at: str = ""
    injuries: str = ""
    written_at: dt.datetime | None = None


def write_notes(*, sign_up: SignUp, notes: Notes) -> None:
    """Within the caller's transaction. After the clinic is closed nobody writes injuries."""
    wanted = {EntryNote.Kind.LOOK_AT: notes.look_at, EntryNote.Kind.INJURIES: notes.injuries}
    if sign_up.sheet.clinic.closed_at is not None:
        wanted[EntryNote.Kind.INJURIES] = None
    for kind, text in wanted.items():
        if text is None:
            continue
        if text.strip():
            told = {"text": text.strip(), "written_at": timezone.now()}
            EntryNote.objects.update_or_create(sign_up=sign_up, kind=kind, defaults=told)
        else:
            _forget(sign_up, kind)


def _forget(sign_up: SignUp, *kinds: str) -> None:
    rows = EntryNote.objects.filter(sign_up=sign_up, kind__in=kinds)
    for pk in rows.values_list("pk", flat=True):
        note_deleted(EntryNote._meta.label, pk)
    rows.delete()


def forget_notes(sign_up: SignUp) -> None:
    """The person has no place any more, so no coach needs them."""
    _forget(sign_up, *EntryNote.Kind.values)


def has_injuries(sign_up: SignUp) -> bool:
    """Whether there is something, for a page that does not show what."""
    return EntryNote.objects.filter(sign_up=sign_up, kind=EntryNote.Kind.INJURIES).exists()


def look_at_of(sign_up: SignUp) -> str:
    """For the person who opened the own sign-up by the link in the mail. Injuries are not shown
    there: a mail may be forwarded."""
    rows = EntryNote.objects.filter(sign_up=sign_up, kind=EntryNote.Kind.LOOK_AT)
    return rows.values_list("text", flat=True).first() or ""


def entry_notes_for(user: User, entry: Entry) -> EntryNotes | None:
    """What the user may read of this entry's swimmer; None: nothing, or not for this user. One
    query."""
    rows = EntryNote.objects.visible_to(user).filter(sign_up__entry=entry)
    return _told(list(rows))


def sign_up_notes_for(user: User, sign_up: SignUp) -> EntryNotes | None:
    rows = EntryNote.objects.visible_to(user).filter(sign_up=sign_up)
    return _told(list(rows))


def _told(rows: list[EntryNote]) -> EntryNotes | None:
    by_kind = {row.kind: row for row in rows}
    if not by_kind:
        return None
    texts = {kind: row.text for kind, row in by_kind.items()}
    return EntryNotes(
        look_at=texts.get(EntryNote.Kind.LOOK_AT, ""),
        injuries=texts.get(EntryNote.Kind.INJURIES, ""),
        written_at=max(row.written_at for row in rows),
    )


@dataclass(frozen=True)
class NoteLine:
    """One swimmer on the coaches' list; `entry` is None: not in the running order yet."""

    name: str
    stroke: str
    start: str
    entry: Entry | None
    notes: EntryNotes


def note_lines(clinic: Clinic, user: User) -> list[NoteLine]:
    """The running order, then who has a place and is not in it yet. A bounded number of
    queries."""
    shown = Prefetch("notes", EntryNote.objects.visible_to(user), to_attr="shown_notes")
    signed = SignUp.objects.filter(
        sheet__clinic=clinic, state__in=[State.SIGNED_UP, State.TAKEN_IN]
    )
    sign_ups = list(signed.prefetch_related(shown).order_by("name"))
    by_entry = {row.entry_id: row for row in sign_ups if row.entry_id}
    entries = clinic.entries.select_related("swimmer", "lane_group")
    lines = [
        NoteLine(
            entry.swimmer.name,
            entry.get_stroke_display(),
            entry.get_start_display(),
            entry,
            _of(by_entry.get(entry.pk)),
        )
        for entry in entries.order_by("lane_group__order", "order", "number")
    ]
    return lines + [
        NoteLine(row.name, row.get_stroke_display(), row.get_start_display(), None, _of(row))
        for row in sign_ups
        if row.entry_id is None and row.state == State.SIGNED_UP
    ]


def _of(sign_up: SignUp | None) -> EntryNotes:
    rows: list[EntryNote] = getattr(sign_up, "shown_notes", [])
    return _told(rows) or EntryNotes()


@transaction.atomic
def note_reading(*, clinic: Clinic, by: User) -> None:
    """The access record says which coach read the list, once for a while."""
    try:
        limits.count_try(f"notes:{clinic.pk}:{by.pk}", at_most=1, window=LOOKED_AGAIN)
    except limits.TooOften:
        return
    record(action="notes.view", by=by, subject=clinic, club=clinic.club)
