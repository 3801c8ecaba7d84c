"""A clinic's stations as cameras that stand somewhere and see something: what pages draw and what
can be said of each. Nothing here says that anything may be done."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

from clinics.actions.venue import flags_m_of, pool_of, ropes_out_of
from clinics.compute.plan_drawing import PlanDrawing, draw_plan, reach_m
from clinics.compute.sight import USUAL_ANGLE_DEG, Pool, Port, Sight, Stand, sight_of
from clinics.compute.sight_cones import Finding, State, findings
from clinics.models import Clinic, Station

DRAWN_DECK_M = 3.0


@dataclass(frozen=True)
class StationsSeen:
    """`stands` has the stations in their order; a stand's key is the station's id."""

    clinic: Clinic
    pool: Pool
    ropes_out: tuple[int, ...]
    flags_m: float
    stations: tuple[Station, ...]
    stands: tuple[Stand, ...]

    @property
    def starter_m(self) -> tuple[float, float]:
        return (self.clinic.starter_x_m, self.clinic.starter_y_m)

    @cached_property
    def findings(self) -> dict[str, tuple[Finding, ...]]:
        """By the station's key, what somebody should look at first."""
        found = findings(
            self.stands,
            self.pool,
            distance_m=self.clinic.distance_m,
            starter_m=self.starter_m,
            air_temperature_c=self.clinic.air_temperature_c,
            ropes_out=self.ropes_out,
        )
        in_order = sorted(found, key=lambda one: one.state is State.OK)
        return {
            stand.key: tuple(one for one in in_order if one.key == stand.key)
            for stand in self.stands
        }

    def sight(self, stand: Stand) -> Sight:
        return sight_of(stand, self.pool)

    def drawn(self, width_px: float) -> PlanDrawing:
        """The plan for a page that shows it so wide; marks are in the stations' order. Less of
        the deck is drawn than a station may stand on, unless one stands there."""
        return draw_plan(
            replace(self.pool, deck_m=DRAWN_DECK_M),
            self.stands,
            distance_m=self.clinic.distance_m,
            starter_m=self.starter_m,
            width_px=width_px,
            ropes_out=self.ropes_out,
            names={str(station.pk): station.name for station in self.stations},
            reaches_m={stand.key: reach_m(stand, self.pool) for stand in self.stands},
            flags_m=self.flags_m,
        )


def stations_seen(clinic: Clinic) -> StationsSeen:
    """One query for the stations, one for the venue sheet unless the clinic came with it."""
    stations = tuple(clinic.stations.all())
    return StationsSeen(
        clinic=clinic,
        pool=pool_of(clinic),
        ropes_out=ropes_out_of(clinic),
        flags_m=flags_m_of(clinic),
        stations=stations,
        stands=tuple(stand_of(station) for station in stations),
    )


def stand_of(station: Station) -> Stand:
    """The station's camera; where nobody said how wide its lens sees, the usual angle."""
    return Stand(
        key=str(station.pk),
        kind=station.kind,
        x_m=station.x_m,
        y_m=station.y_m,
        z_m=station.z_m,
        angle_deg=USUAL_ANGLE_DEG if station.angle_deg is None else station.angle_deg,
        port=Port(station.port) if station.port else None,
        bearing_deg=station.bearing_deg,
        hears_start=station.hears_start,
    )
