"""A station on one page: where it stands, what it sees, what it brings, when it is needed."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import prefetch_related_objects

from clinics.actions.kit import StationKit, kits_of
from clinics.actions.papers import RunningOrder, post_lines, running_order
from clinics.actions.people_at_posts import station_need
from clinics.actions.stations_seen import stations_seen
from clinics.compute.number_cards import card_distance_m
from clinics.compute.plan_drawing import PlanDrawing
from clinics.compute.posts import Post, cautions
from clinics.compute.sight import USUAL_ANGLE_DEG, Sight
from clinics.compute.sight_cones import Span, lane_seen
from clinics.compute.station_needs import KitItem
from clinics.compute.windows import windows_for
from clinics.models import Clinic, Entry, Station

DRAWN_PX = 400.0  # 106 mm of paper at 96 px an inch: type of 14 px is 10.5 points
CARD_UNKNOWN_M = 10.0  # where no start camera is planned: it stands across four lanes


@dataclass(frozen=True)
class PassWindow:
    """When swimmers are expected in picture, in seconds after their start signal: from the
    fastest's begin to the slowest's end. `what` as in geometry.Pass."""

    pass_no: int
    what: str
    from_s: float
    to_s: float


@dataclass(frozen=True)
class Person:
    """Who is at a station, and as what."""

    post: Post
    name: str


@dataclass(frozen=True)
class Expected:
    """By the timetable: the first swimmer comes into picture, the last one is out of it."""

    from_at: dt.datetime
    to_at: dt.datetime


@dataclass(frozen=True)
class StationCard:
    """`lane` is what is seen of the swum lane, None if nothing. `missing`: its posts that nobody
    holds. `expected` is None without a timetable, or if nobody comes by."""

    station: Station
    number: int
    lane: Span | None
    sight: Sight
    angle_said: bool
    kit: StationKit
    cautions: list[KitItem]
    windows: list[PassWindow]
    people: list[Person]
    missing: list[Post]
    expected: Expected | None

    @property
    def back_m(self) -> float:
        """How far behind the edge it stands; for those on the deck at the swum lane."""
        return -self.station.y_m

    @property
    def deep_m(self) -> float:
        return -self.station.z_m


@dataclass(frozen=True)
class StationCards:
    drawing: PlanDrawing
    order: RunningOrder
    cards: list[StationCard]


def start_cameras(clinic: Clinic) -> list[tuple[float, float]]:
    """Metres to a card that is held up at the start, and angle of view, of each start camera."""
    seen = stations_seen(clinic)
    lane_y_m = seen.pool.swum_y_m
    found = [
        (card_distance_m(one.x_m, one.y_m, one.z_m, lane_y_m=lane_y_m), one.angle_deg)
        for one in seen.stands
        if one.kind == Station.Kind.START_SIDE
    ]
    return found or [(CARD_UNKNOWN_M, USUAL_ANGLE_DEG)]


def station_cards(clinic: Clinic) -> StationCards:
    """All stations; so many queries however many there are."""
    seen = stations_seen(clinic)
    prefetch_related_objects(seen.stations, "cameras")
    order, people = running_order(clinic), post_lines(clinic)
    cards = []
    kits = kits_of(clinic, seen.stations)
    for number, (station, stand, kit) in enumerate(
        zip(seen.stations, seen.stands, kits, strict=True), start=1
    ):
        its = [line for line in people if line.station and line.station.pk == station.pk]
        card = StationCard(
            station=station,
            number=number,
            lane=lane_seen(stand, seen.pool),
            sight=seen.sight(stand),
            angle_said=station.angle_deg is not None,
            kit=kit,
            cautions=[one for one in cautions([station_need(station)]) if one.caution],
            windows=_windows(clinic, station, order),
            people=[Person(line.post, name) for line in its for name in line.names],
            missing=[line.post for line in its if not line.names],
            expected=_expected(station, order),
        )
        cards.append(card)
    return StationCards(seen.drawn(DRAWN_PX), order, cards)


def _entries(order: RunningOrder) -> Iterable[Entry]:
    return (line.entry for section in order.sections for line in section.lines)


def _windows(clinic: Clinic, station: Station, order: RunningOrder) -> list[PassWindow]:
    found: dict[int, PassWindow] = {}
    for pace in {entry.pace_s_per_100m for entry in _entries(order)}:
        for one in windows_for(
            kind=station.kind,
            x_m=station.x_m,
            given=station.windows,
            course_m=clinic.course_m,
            distance_m=clinic.distance_m,
            pace_s_per_100m=pace,
        ):
            known = found.get(one.pass_no)
            from_s = min(one.seen_from_s, known.from_s) if known else one.seen_from_s
            to_s = max(one.seen_to_s, known.to_s) if known else one.seen_to_s
            found[one.pass_no] = PassWindow(one.pass_no, one.what, from_s, to_s)
    return [found[number] for number in sorted(found)]


def _expected(station: Station, order: RunningOrder) -> Expected | None:
    """From the first swimmer expected in picture to the last, by the timetable."""
    due = order.timetable.passes([station]) if order.timetable else []
    if order.timetable is None or not due:
        return None
    return Expected(
        order.timetable.at(min(one.from_s for one in due)),
        order.timetable.at(max(one.to_s for one in due)),
    )
