"""A swim that somebody acts on as a coach."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.core.exceptions import PermissionDenied

from clinics.models import Swim

if TYPE_CHECKING:
    from portal.models import User


def coached_row(swim: Swim, by: User) -> Swim:
    """The row, locked, if it was passed on to `by` as a coach. The caller's object may be old."""
    mine = Swim.objects.coached_by(by).filter(pk=swim.pk).values("pk")
    rows = Swim.objects.select_for_update(of=("self",)).filter(pk__in=mine)
    row = rows.select_related("entry__clinic__club", "entry__swimmer__user").first()
    if row is None:
        raise PermissionDenied("only a coach to whom the swim was passed on may do this")
    return row
