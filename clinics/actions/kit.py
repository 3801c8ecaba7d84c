"""What each station must bring, and what of it has been ticked."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.db import transaction

from clinics.actions.errors import BadInput
from clinics.actions.errors import say as _
from clinics.compute.station_needs import (
    AFTER_MIN,
    BEFORE_MIN,
    BIT_RATES,
    BitRate,
    Enough,
    KitItem,
    Needs,
    Supply,
    kit,
    needs,
    recorded_min,
    supplies,
)
from clinics.models import Clinic, KitTick, PoolHour, Station
from portal.actions.audit import record
from portal.models import User

USUAL_POOL_MIN = 60.0  # taken while nobody has said how long the pool is the clinic's
USUAL_BIT_RATE = BIT_RATES[0]
_BY_KEY = {rate.key: rate for rate in BIT_RATES}


@dataclass(frozen=True)
class KitLine:
    """`tick`: who ticked it and when; None: nobody has."""

    item: KitItem
    tick: KitTick | None


@dataclass(frozen=True)
class StationKit:
    """`pool_min` and `bit_rate` are what is usual unless `hour_said`, `rate_said`. `takes`: how
    often the camera is started: a start camera once for each lane group."""

    station: Station
    pool_min: float
    hour_said: bool
    bit_rate: BitRate
    rate_said: bool
    takes: int
    needs: Needs
    card: Supply
    battery: Supply
    lines: tuple[KitLine, ...]

    @property
    def things(self) -> list[KitLine]:
        return [line for line in self.lines if not line.item.caution]

    @property
    def cautions(self) -> list[KitLine]:
        return [line for line in self.lines if line.item.caution]

    @property
    def ticked(self) -> int:
        return sum(line.tick is not None for line in self.lines)

    @property
    def total(self) -> int:
        return len(self.lines)

    @property
    def short(self) -> list[Supply]:
        """What somebody means to bring, and which will not do."""
        return [one for one in (self.battery, self.card) if one.state is Enough.SHORT]

    @property
    def before_min(self) -> float:
        return BEFORE_MIN

    @property
    def after_min(self) -> float:
        return AFTER_MIN


def kits_of(clinic: Clinic, stations: Sequence[Station]) -> list[StationKit]:
    """The kit of each of these stations of the clinic. Three queries, however many there are."""
    hour = PoolHour.objects.filter(clinic=clinic).first()
    groups = clinic.lane_groups.filter(entries__isnull=False).distinct().count()
    ticks: dict[object, dict[str, KitTick]] = defaultdict(dict)
    for tick in KitTick.objects.filter(station__in=stations).select_related("by"):
        ticks[tick.station_id][tick.key] = tick
    return [_kit(station, hour, groups, ticks[station.pk]) for station in stations]


def _kit(
    station: Station, hour: PoolHour | None, groups: int, ticks: dict[str, KitTick]
) -> StationKit:
    pool_min = float(hour.minutes) if hour else USUAL_POOL_MIN
    rate = _BY_KEY.get(station.bit_rate, USUAL_BIT_RATE)
    takes = max(groups, 1) if station.kind == Station.Kind.START_SIDE else 1
    need = needs(minutes=recorded_min(pool_min), mbit_per_s=rate.mbit_per_s, takes=takes)
    card, battery = supplies(need, card_gb=station.card_gb, battery_min=station.battery_min)
    return StationKit(
        station=station,
        pool_min=pool_min,
        hour_said=hour is not None,
        bit_rate=rate,
        rate_said=station.bit_rate in _BY_KEY,
        takes=takes,
        needs=need,
        card=card,
        battery=battery,
        lines=tuple(KitLine(item, ticks.get(item.key)) for item in kit(station.kind)),
    )


@transaction.atomic
def tick(*, station: Station, key: str, by: User) -> None:
    """Somebody has packed it, or read it. Ticked already: it stays with who ticked it first."""
    _refuse(station, key)
    row, is_new = KitTick.objects.get_or_create(station=station, key=key, defaults={"by": by})
    if is_new:
        _note("kit.tick", row.station, key, by)


@transaction.atomic
def untick(*, station: Station, key: str, by: User) -> None:
    """Not packed after all. Not ticked: nothing changes."""
    _refuse(station, key)
    gone, _rows = KitTick.objects.filter(station=station, key=key).delete()
    if gone:
        _note("kit.untick", station, key, by)


def _refuse(station: Station, key: str) -> None:
    clinic = Clinic.objects.select_for_update().get(pk=station.clinic_id)
    if clinic.state == Clinic.State.CLOSED:
        raise BadInput([("", _("This clinic is closed; its lists stay as they are."))])
    if key not in _keys(kit(station.kind)):
        raise BadInput([("", _("This is on the list no more. Look at the list as it is now."))])


def _keys(items: Iterable[KitItem]) -> set[str]:
    return {item.key for item in items}


def _note(action: str, station: Station, key: str, by: User) -> None:
    club = station.clinic.club
    record(action=action, by=by, subject=station, club=club, detail={"line": key})
