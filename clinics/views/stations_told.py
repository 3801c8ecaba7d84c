"""What can be said of each station, in words: where it stands, where it looks, how wide it sees,
and what was found."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.translation import gettext as _

from clinics.actions.stations_seen import StationsSeen
from clinics.compute.sight import Port, Stand, usual_aim_m
from clinics.models import Station
from clinics.views.stations_findings import OK, UNKNOWN, Told, fig, finding_told


@dataclass(frozen=True)
class StationTold:
    """A station with everything that is said of it, what needs a look first."""

    number: int
    station: Station
    stand: Stand
    place: str
    looks: str
    lens: str
    told: tuple[Told, ...]

    @property
    def to_look(self) -> int:
        return sum(one.state != OK for one in self.told)


def stations_told(seen: StationsSeen) -> list[StationTold]:
    rows = zip(seen.stations, seen.stands, strict=True)
    return [_told(seen, *row, number) for number, row in enumerate(rows, start=1)]


def _told(seen: StationsSeen, station: Station, stand: Stand, number: int) -> StationTold:
    unsaid = [_angle_not_said(stand)] if station.angle_deg is None else []
    found = [finding_told(one, stand, seen) for one in seen.findings[stand.key]]
    return StationTold(
        number=number,
        station=station,
        stand=stand,
        place=place_words(station),
        looks=_looks(seen, station, stand),
        lens=lens_words(seen, stand),
        told=tuple(sorted((*unsaid, *found), key=lambda one: one.state == OK)),
    )


# --- where it stands -----------------------------------------------------------------------------


def place_words(station: Station) -> str:
    told = {"x": fig(station.x_m), "y": fig(abs(station.y_m)), "z": fig(abs(station.z_m))}
    if station.y_m < 0:
        where = _("%(x)s m along, on the deck %(y)s m behind the swum lane's edge") % told
    else:
        where = _("%(x)s m along, %(y)s m across") % told
    if station.z_m < 0:
        return where + ", " + _("%(z)s m under water") % told
    return where + ", " + _("%(z)s m above the water") % told


def _looks(seen: StationsSeen, station: Station, stand: Stand) -> str:
    bearing = fig(seen.sight(stand).bearing_deg, 0)
    if station.bearing_deg is not None:
        return _("Looks towards %(bearing)s°.") % {"bearing": bearing}
    aim_x, _y = usual_aim_m(stand, seen.pool)
    told = {"bearing": bearing, "x": fig(aim_x)}
    return _("Looks at the swum lane at %(x)s m, as usual (%(bearing)s°).") % told


def lens_words(seen: StationsSeen, stand: Stand) -> str:
    """How wide it sees in air, and what water leaves of that."""
    told = {"air": fig(stand.angle_deg, 1), "water": fig(seen.sight(stand).angle_deg, 1)}
    if stand.through is Port.FLAT:
        return _("Sees %(air)s° in air; under water, behind a flat port, %(water)s°.") % told
    if stand.through is Port.DOME:
        return _("Sees %(air)s°, in air and, behind a dome port, under water.") % told
    return _("Sees %(air)s°.") % told


def _angle_not_said(stand: Stand) -> Told:
    told = {"angle": fig(stand.angle_deg, 1)}
    return Told(
        UNKNOWN,
        _("Nobody has said how wide this lens sees. %(angle)s° is taken.") % told,
        _("Look it up or measure it, and say so under “Camera”."),
    )
