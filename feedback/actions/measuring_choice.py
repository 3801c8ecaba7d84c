"""A club's choice of the zone in which its turns are timed."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import transaction

from feedback.compute.measuring.turns import TurnZone
from feedback.models import MeasuringChoice
from portal.actions.audit import record

if TYPE_CHECKING:
    from portal.models import Club, User


@transaction.atomic
def choose_zone(*, club: Club, zone: TurnZone, by: User) -> MeasuringChoice:
    """All measures of the club follow at once, those of earlier swims too: nothing computed is
    stored. Chosen as it is already, nothing happens."""
    row = MeasuringChoice.objects.select_for_update().filter(club=club).first()
    before = (row.turn_in_m, row.turn_out_m) if row else None
    if row is not None and before == (zone.in_m, zone.out_m):
        return row
    values = {"turn_in_m": zone.in_m, "turn_out_m": zone.out_m}
    row, _new = MeasuringChoice.objects.update_or_create(club=club, defaults=values)
    detail = {"before": before, "after": [zone.in_m, zone.out_m]}
    record(action="measuring-choice", by=by, subject=club, club=club, detail=detail)
    return row
