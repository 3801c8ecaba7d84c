"""The demo's stations have cameras with what is usual of such: how wide they see, what they record,
and what of their kit has been packed. The one under water sees a little too little, as a plan
finds out beforehand."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from clinics.actions.kit import tick
from clinics.actions.stations_change import change_station
from clinics.models import KitTick, Station

if TYPE_CHECKING:
    from clinics.models import Clinic
    from portal.models import User

CAMERAS: dict[str, dict[str, Any]] = {
    "start-side": {"angle_deg": 65.0, "bit_rate": "1080i", "card_gb": 32.0, "battery_min": 130.0},
    "underwater": {
        "angle_deg": 45.0,
        "port": "flat",
        "bit_rate": "1080p60",
        "card_gb": 32.0,
        "battery_min": 90.0,
    },
    "turn-window": {"angle_deg": 70.0, "port": "flat", "bit_rate": "1080i", "card_gb": 16.0},
    "deck": {
        "angle_deg": 40.0,
        "fixed_mount": False,
        "bit_rate": "1080i-best",
        "card_gb": 64.0,
        "battery_min": 110.0,
    },
}
PACKED = {
    "start-side": ("camera", "battery", "card", "tripod", "number-cards"),
    "underwater": ("camera", "housing", "fixed-mount", "o-ring", "mount-weights"),
}


def stations_in_demo(clinic: Clinic, *, by: User) -> None:
    """What the club's admin says of each camera of which nobody has said anything, and has
    packed. Run again it changes nothing."""
    for station in clinic.stations.filter(angle_deg__isnull=True).select_related("clinic__club"):
        change_station(station=station, values=CAMERAS[station.kind], by=by)
        if not KitTick.objects.filter(station=station).exists():
            _pack(station, by)


def _pack(station: Station, by: User) -> None:
    for key in PACKED.get(station.kind, ()):
        tick(station=station, key=key, by=by)
