"""Opening a closed clinic again: somebody is to be covered, a clip to be made narrower."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.core.exceptions import PermissionDenied
from django.db import transaction

from clinics.models import Clinic
from portal.actions.audit import record

if TYPE_CHECKING:
    from portal.models import User


@transaction.atomic
def open_again(*, clinic: Clinic, by: User) -> Clinic:
    """The club's admin lets the checkers look at its footage again. When it was closed is kept,
    and with it every date by which something goes: opening it again prolongs nothing."""
    row = Clinic.objects.select_for_update(of=("self",)).filter(pk=clinic.pk).first()
    if row is None or not Clinic.objects.run_by(by).filter(pk=row.pk).exists():
        raise PermissionDenied("only an admin of the club may do this")
    if row.state == Clinic.State.CLOSED:
        row.state = Clinic.State.OPEN
        row.save(update_fields=["state"])
        record(action="clinic.open-again", by=by, subject=row, club=row.club)
    return row
