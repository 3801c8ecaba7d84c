"""Copies outside the site: what left with whom, came in safely, and was wiped by whom."""

from __future__ import annotations

import uuid
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _

from clinics.models import Clinic, Custody, SourceFile, Station, Upload
from portal.actions.audit import record

if TYPE_CHECKING:
    from django.db.models import QuerySet

    from portal.models import Club, User


class CustodyRefused(Exception):
    """It cannot be noted like this; a sentence for who notes it."""


@dataclass(frozen=True)
class CameIn:
    """What came in from a station since a carrier was handed out."""

    checked: int = 0  # files that were read back from disk
    waiting: int = 0  # being sent, or not yet taken in


def clinics_for(user: User) -> QuerySet[Clinic]:
    """Whose carriers the user may note: an admin of the club; and the crew, who hand them out,
    until the clinic is closed."""
    run, worked = Clinic.objects.run_by(user), Clinic.objects.worked_by(user)
    mine = Q(pk__in=run.values("pk")) | Q(pk__in=worked.values("pk"))
    return Clinic.objects.filter(mine).select_related("club")


def is_open(row: Custody) -> bool:
    """Copies may still be there."""
    return row.wiped_at is None or copies_itself(row)


def copies_itself(row: Custody) -> bool:
    """A phone of which nobody has said that it no longer copies its pictures to a service."""
    return row.kind == Custody.Kind.PHONE and row.copies_itself_off_at is None


def open_items(club: Club) -> QuerySet[Custody]:
    """Of the club's clinics, oldest first."""
    trap = Q(kind=Custody.Kind.PHONE, copies_itself_off_at=None)
    rows = Custody.objects.filter(clinic__club=club)
    rows = rows.filter(Q(wiped_at=None) | trap)
    return rows.select_related("clinic", "station").order_by("handed_at")


def came_in_to(rows: Sequence[Custody]) -> dict[uuid.UUID, CameIn]:
    """By carrier. Two queries, however many."""
    stations = {row.station_id for row in rows if row.station_id}
    sources = SourceFile.objects.filter(
        recording__station__in=stations, verified_at__isnull=False
    ).values_list("recording__station_id", "verified_at")
    checked = [(station, at) for station, at in sources.order_by() if at]
    states = [Upload.State.OPEN, Upload.State.COMPLETE]
    sent = Upload.objects.filter(station__in=stations, state__in=states)
    waiting = Counter(sent.values_list("station_id", flat=True))
    return {
        row.pk: CameIn(
            sum(station == row.station_id and at >= row.handed_at for station, at in checked),
            waiting[row.station_id] if row.station_id else 0,
        )
        for row in rows
    }


@transaction.atomic
def hand_over(
    *, clinic: Clinic, kind: str, label: str, holder: str, station: Station | None, by: User
) -> Custody:
    _require(clinic, by)
    if station is not None and station.clinic_id != clinic.pk:
        raise PermissionDenied("a station of another clinic")
    row = Custody.objects.create(
        clinic=clinic,
        kind=kind,
        label=label.strip(),
        holder=holder.strip(),
        station=station,
        noted_by=by,
    )
    _note("custody.hand-over", row, by)
    return row


def _require(clinic: Clinic, by: User) -> None:
    if not clinics_for(by).filter(pk=clinic.pk).exists():
        raise PermissionDenied("neither admin of the club nor crew of the clinic")


def _note(action: str, row: Custody, by: User) -> None:
    """No names: who has it stands in the row."""
    record(action=action, by=by, subject=row, club=row.clinic.club, detail={"kind": row.kind})


def _locked(pk: uuid.UUID, by: User) -> Custody:
    rows = Custody.objects.select_for_update(of=("self",)).select_related("clinic__club")
    row = rows.filter(pk=pk).first()
    if row is None:
        raise PermissionDenied("no such carrier")
    _require(row.clinic, by)
    return row


@transaction.atomic
def note_safely_in(*, row: Custody, by: User) -> Custody:
    """All that was on it is on the site. Said twice, the first time counts."""
    row = _locked(row.pk, by)
    if row.safely_in_at is not None:
        return row
    told = came_in_to([row])[row.pk]
    if told.waiting:
        raise CustodyRefused(
            _("Files of this station are still being sent. Wait until they are taken in.")
        )
    if row.station_id is not None and not told.checked:
        raise CustodyRefused(
            _("Nothing has come in from this station since. Bring the recordings in first.")
        )
    row.safely_in_at = timezone.now()
    row.save(update_fields=["safely_in_at"])
    _note("custody.safely-in", row, by)
    return row


@transaction.atomic
def note_copies_off(*, row: Custody, by: User) -> Custody:
    """The phone copies nothing by itself, and what it had copied is deleted there."""
    row = _locked(row.pk, by)
    if row.copies_itself_off_at is None and row.kind == Custody.Kind.PHONE:
        row.copies_itself_off_at = timezone.now()
        row.save(update_fields=["copies_itself_off_at"])
        _note("custody.copies-off", row, by)
    return row


@transaction.atomic
def note_wiped(*, row: Custody, wiped_by: str, by: User) -> Custody:
    """Only what is safely in is wiped: else the recordings are lost."""
    row = _locked(row.pk, by)
    if row.wiped_at is not None:
        return row
    if row.safely_in_at is None:
        raise CustodyRefused(_("Say first that all of it is safely in; then wipe it."))
    if not wiped_by.strip():
        raise CustodyRefused(_("Say who wiped it."))
    row.wiped_at, row.wiped_by_name = timezone.now(), wiped_by.strip()
    row.save(update_fields=["wiped_at", "wiped_by_name"])
    _note("custody.wipe", row, by)
    return row
