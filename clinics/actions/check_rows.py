"""What every act of a checker begins and ends with: the swim's row, locked, if one may; the audit
record; and the word for "it cannot be done so".
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.core.exceptions import PermissionDenied

from clinics.models import Swim
from portal.actions.audit import record

if TYPE_CHECKING:
    from portal.models import User


class CheckRefused(Exception):
    """It cannot be done as asked; `reasons` are sentences for the checker."""

    def __init__(self, *reasons: str) -> None:
        super().__init__(" ".join(reasons))
        self.reasons = reasons


def for_checking(swim: Swim, by: User) -> Swim:
    """The row, locked, if `by` checks it. The caller's object may be old."""
    mine = Swim.objects.handled_by(by).filter(pk=swim.pk).values("pk")
    found = Swim.objects.select_for_update(of=("self",)).filter(pk__in=mine)
    row = found.select_related("entry__clinic__club", "entry__swimmer__user").first()
    if row is None:
        raise PermissionDenied("only a checker of the clinic may do this")
    return row


def audit_swim(action: str, swim: Swim, by: User, **detail: object) -> None:
    record(action=action, by=by, subject=swim, club=swim.entry.clinic.club, detail=detail)
