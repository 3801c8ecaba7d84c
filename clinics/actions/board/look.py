"""What a checker says in one look at a swim, of which the confirmation can be undone."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from django.db import transaction

from clinics.actions import check
from clinics.actions.board.people import NUMBER, confirm_many
from clinics.actions.pass_on import NotPassed
from clinics.models import Swim

if TYPE_CHECKING:
    from clinics.models import Swimmer
    from portal.models import User


@transaction.atomic
def look_at(
    *,
    swim: Swim,
    by: User,
    seen: str = "",
    others: Iterable[Swimmer] | None = None,
    pass_on: bool = False,
) -> NotPassed | None:
    """As `clinics.actions.check.look_at`; confirming anew what is confirmed so is no act."""
    if seen and not _is_seen(swim, seen):
        confirm_many(swims=[swim], by=by, how=seen)
    return check.look_at(swim=swim, by=by, others=others, pass_on=pass_on)


def _is_seen(swim: Swim, seen: str) -> bool:
    number = swim.entry.number if seen == NUMBER else None
    return swim.person == Swim.Person.CONFIRMED and swim.number_seen == number
