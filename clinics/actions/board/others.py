"""Nobody else can be recognised: said of one swim or of many in one tap, and taken back alike."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.utils.translation import gettext as _

from clinics.actions import check
from clinics.actions.board.acts import fresh_swim, lock_clinic, note
from clinics.actions.board.state import read, rows_of
from clinics.actions.check_rows import CheckRefused
from clinics.models import BoardAct, Swim

if TYPE_CHECKING:
    from portal.models import User


@transaction.atomic
def nobody_else(*, swims: Iterable[Swim], by: User) -> BoardAct:
    """Nobody but the swimmer can be recognised in these. Of swims of which somebody has said
    already who else is in them nothing changes: one tap must not wipe out names."""
    swims = sorted(swims, key=lambda swim: str(swim.pk))
    if not swims:
        raise CheckRefused(_("Choose the swims first."))
    clinic = lock_clinic(swims[0].entry.clinic_id, by)
    if any(swim.entry.clinic_id != clinic.pk for swim in swims):
        raise PermissionDenied("swims of two clinics")
    rows = [fresh_swim(swim, by) for swim in swims]
    rows = [row for row in rows if row.others_recorded_at is None]
    if not rows:
        raise CheckRefused(_("Who else can be recognised is recorded already."))
    before = read(rows_of(rows))
    for row in rows:
        check.record_others(swim=row, swimmers=[], by=by)
    facts = {
        "swims": [str(row.pk) for row in rows],
        "entries": [str(row.entry_id) for row in rows],
    }
    subject = rows[0] if len(rows) == 1 else clinic
    return note(
        BoardAct.Kind.OTHERS, clinic=clinic, subject=subject, before=before, facts=facts, by=by
    )
