"""In the demo the camera on the deck has a bench in its corner, which is always covered."""

from __future__ import annotations

from typing import TYPE_CHECKING

from clinics.actions.masks import Area, cover_station
from clinics.models import Station

if TYPE_CHECKING:
    from clinics.models import Clinic
    from portal.models import User

BENCH = Area(0.0, 0.82, 0.16, 0.18)
"""Of the picture's lower left corner: the painted times run along its upper edge."""


def cover_demo_bench(*, clinic: Clinic, by: User) -> None:
    """Before anything is cut, so that no clip is made twice. Run again it changes nothing."""
    deck = clinic.stations.filter(kind=Station.Kind.DECK, masks__isnull=True).first()
    if deck is not None:
        cover_station(station=deck, area=BENCH, by=by, note="Spectators’ bench")
