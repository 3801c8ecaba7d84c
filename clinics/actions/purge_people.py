"""What goes of people when nothing of theirs is left: their consent sheets, when nothing has to be
shown any more by them, and in the end their names."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import TYPE_CHECKING

from django.db import transaction
from django.db.models import Exists, OuterRef, Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from clinics.actions.keeping_rules import rules_of_clubs
from clinics.compute.keeping import Rules, add_months, begin_of
from clinics.models import ClipMask, Consent, Entry, InPicture, Recognised, Swimmer
from clinics.privacy import held_by_part
from portal.actions.audit import record
from portal.actions.ledger import note_deleted
from portal.actions.purge import delete_files
from portal.models import Club, StoredFile
from portal.registry import Due, Gone, PurgeStep

if TYPE_CHECKING:
    from collections.abc import Callable

    from django.db.models import QuerySet


def _after_months(at: dt.datetime, rules: Rules) -> dt.datetime:
    return begin_of(add_months(at.date(), rules.measures_months))


def _rules() -> Callable[[uuid.UUID], Rules]:
    return rules_of_clubs(Club.objects.values_list("pk", flat=True))


# --- consent sheets ---------------------------------------------------------------------------


def _ended_sheets() -> QuerySet[StoredFile]:
    """All that was agreed to on them has ended."""
    on_it = Consent.objects.filter(sheet_id=OuterRef("pk"))
    current = on_it.filter(ended_at__isnull=True)
    there = StoredFile.objects.filter(state=StoredFile.State.READY)
    return there.filter(Exists(on_it), ~Exists(current))


def _held_sheet() -> Q:
    on_it = Consent.objects.filter(sheet_id=OuterRef("pk"))
    held = on_it.filter(held_by_part(Swimmer="swimmer_id"))
    return held_by_part(StoredFile="pk") | Q(Exists(held))


def sheet_until(file: StoredFile, rules: Rules) -> dt.datetime:
    """As long as what was said of the swims, counted from when the last consent on it ended."""
    ended = Consent.objects.filter(sheet=file).order_by("-ended_at").values_list("ended_at")
    return _after_months(max(at for (at,) in ended if at is not None), rules)


def _sheets_due(at_most: int) -> list[Due]:
    rules, found = _rules(), []
    for file in _ended_sheets().exclude(_held_sheet()).order_by("pk"):
        until = sheet_until(file, rules(file.club_id))
        if until <= timezone.now():
            found.append(Due(StoredFile._meta.label, file.pk, until, 1, file.size_bytes))
    return sorted(found, key=lambda due: due.since)[:at_most]


@transaction.atomic
def _delete_sheet(due: Due) -> Gone | None:
    rows = _ended_sheets().exclude(_held_sheet()).select_for_update(of=("self",))
    file = rows.select_related("club").filter(pk=due.id).first()
    if file is None or sheet_until(file, _rules()(file.club_id)) > timezone.now():
        return None
    gone = delete_files([file])
    Consent.objects.filter(sheet=file).update(sheet=None)
    record(action="purge.sheet", by=None, subject=file, club=file.club)
    return gone


SHEETS_STEP = PurgeStep(
    name="consent-sheets",
    label=_("Consent sheets of what ended long ago"),
    order=650,
    due=_sheets_due,
    held=lambda: _ended_sheets().filter(_held_sheet()).count(),
    delete=_delete_sheet,
)

# --- swimmers -----------------------------------------------------------------------------------


def _left_over() -> QuerySet[Swimmer]:
    """In no clinic any more, and in nobody's picture."""
    mine = {"swimmer_id": OuterRef("pk")}
    rows = (
        Entry.objects.filter(**mine),
        Recognised.objects.filter(**mine),
        InPicture.objects.filter(**mine),
        ClipMask.objects.filter(covers_id=OuterRef("pk")),
    )
    found = Swimmer.objects.all()
    for of_swimmer in rows:
        found = found.filter(~Exists(of_swimmer))
    return found


def _swimmers_due(at_most: int) -> list[Due]:
    rules, found = _rules(), []
    for swimmer in _left_over().exclude(held_by_part(Swimmer="pk")).order_by("created_at"):
        until = _after_months(swimmer.created_at, rules(swimmer.club_id))
        if until <= timezone.now():
            found.append(Due(Swimmer._meta.label, swimmer.pk, until))
    return found[:at_most]


@transaction.atomic
def _delete_swimmer(due: Due) -> Gone | None:
    rows = _left_over().exclude(held_by_part(Swimmer="pk")).select_for_update(of=("self",))
    swimmer = rows.select_related("club").filter(pk=due.id).first()
    if swimmer is None:
        return None
    sheets = StoredFile.objects.filter(pk__in=swimmer.consents.values("sheet_id"))
    others = Consent.objects.filter(sheet_id=OuterRef("pk")).exclude(swimmer=swimmer)
    gone = delete_files(sheets.filter(~Exists(others)))
    note_deleted(Swimmer._meta.label, swimmer.pk)
    club, subject = swimmer.club, Swimmer(pk=swimmer.pk)
    _count, told = swimmer.delete()
    detail = {"rows": told, "files": gone.files}
    record(action="purge.swimmer", by=None, subject=subject, club=club, detail=detail)
    return Gone(told, gone.files, gone.size_bytes)


SWIMMERS_STEP = PurgeStep(
    name="swimmers",
    label=_("Names of swimmers of whom nothing is left"),
    order=700,
    due=_swimmers_due,
    held=lambda: _left_over().filter(held_by_part(Swimmer="pk")).count(),
    delete=_delete_swimmer,
)
