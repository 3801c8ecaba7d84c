"""The end of the work on a clinic: all is checked, and then it is closed."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.utils import timezone

from clinics.actions.keeping import date_originals
from clinics.models import Clinic
from portal.actions.audit import record

if TYPE_CHECKING:
    from portal.models import User


@transaction.atomic
def mark_checked(*, clinic: Clinic, by: User) -> Clinic:
    """The checker is done: crew no longer see the recordings that they brought in."""
    row = Clinic.objects.select_for_update().filter(pk=clinic.pk).first()
    if row is None or not Clinic.objects.checked_by(by).filter(pk=row.pk).exists():
        raise PermissionDenied("only a checker of the clinic may do this")
    if row.checked_at is None:
        row.checked_at = timezone.now()
        row.save(update_fields=["checked_at"])
        record(action="clinic.checked", by=by, subject=row, club=row.club)
    return row


@transaction.atomic
def close_clinic(*, clinic: Clinic, by: User) -> Clinic:
    """The club's admin ends the work on a clinic: checkers see its footage no more, and the
    days until its originals are deleted begin to count; from the first time on, if it was
    opened again since."""
    row = Clinic.objects.select_for_update().filter(pk=clinic.pk).first()
    if row is None or not Clinic.objects.run_by(by).filter(pk=row.pk).exists():
        raise PermissionDenied("only an admin of the club may do this")
    if row.state != Clinic.State.CLOSED:
        row.state, row.closed_at = Clinic.State.CLOSED, row.closed_at or timezone.now()
        row.save(update_fields=["state", "closed_at"])
        date_originals(clinic=row)
        record(action="clinic.close", by=by, subject=row, club=row.club)
    return row
