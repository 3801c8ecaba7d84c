"""Who stands where at a clinic: its posts, who holds them, what does not go, and the dives.

Which posts there are, and which exclude each other, is `clinics/compute/posts`. The lifeguard is
the pool's and stands by name on the venue sheet; all others are duties. Changing them:
people_at_posts_acts.py; visitors: people_at_posts_visits.py.
"""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

from django.db.models import Count

from clinics.actions.people_at_posts_visits import Visit, day_of_work, on_that_day, visits_of
from clinics.compute import posts
from clinics.compute.dives import Dives, dives_shared
from clinics.compute.geometry import UNDERWATER, passes
from clinics.compute.posts import Held, People, Place, Post, PostFinding, StationNeed
from clinics.models import Clinic, Duty, Station, VenueSheet
from portal.models import Membership, User

AT_STATIONS = (Post.CAMERA, Post.OPERATOR, Post.WATCHER)
ANY_PACE = 100.0  # how often somebody goes by does not depend on how quickly


@dataclass(frozen=True)
class PostLine:
    """A post with who holds it. `station` is the row of the place's station."""

    place: Place
    station: Station | None
    duties: tuple[Duty, ...]
    lifeguard: str = ""

    @property
    def key(self) -> str:
        return post_key(self.place)

    @property
    def is_held(self) -> bool:
        return bool(self.duties or self.lifeguard)


@dataclass(frozen=True)
class StationDives:
    """The dives at a station that somebody films from under water. `each_go`: passes of one
    go; `names` of the operators, by the keys that stand in `dives`."""

    station: Station
    each_go: int
    swimmers: int
    dives: Dives
    names: dict[str, str]


@dataclass(frozen=True)
class Candidate:
    """Somebody who works for the club on the day, and may be given a post."""

    user: User
    memberships: tuple[Membership, ...]

    def works_until(self) -> Membership | None:
        """The last membership to end; None: at least one has no end."""
        if any(one.until_date is None for one in self.memberships):
            return None
        return max(self.memberships, key=lambda one: one.until_date or one.from_date)


@dataclass
class AtPosts:
    """`names` of people by their keys in the findings."""

    clinic: Clinic
    stations: list[Station]
    lines: list[PostLine]
    loose: list[Duty]  # at no post that this clinic needs
    findings: tuple[PostFinding, ...]
    people: People
    dives: list[StationDives]
    candidates: list[Candidate]
    visits: list[Visit]
    names: dict[str, str] = field(default_factory=dict)

    def candidate(self, user_id: uuid.UUID) -> Candidate | None:
        return next((one for one in self.candidates if one.user.pk == user_id), None)

    def duties_of(self, user_id: uuid.UUID) -> list[Duty]:
        held = [duty for line in self.lines for duty in line.duties]
        return [duty for duty in (*held, *self.loose) if duty.user_id == user_id]

    def missing(self) -> list[PostLine]:
        return [line for line in self.lines if not line.is_held]


def post_key(place: Place) -> str:
    """“starter”, or “camera:deck”: how a form names a post."""
    return f"{place.post}:{place.station.key}" if place.station else place.post.value


def station_need(station: Station) -> StationNeed:
    return StationNeed(station.slug, station.kind, station.fixed_mount)


def place_of(duty: Duty, stations: Sequence[Station]) -> Place:
    """A camera at no station that is named is the one that there is, if there is but one."""
    post = Post(duty.kind)
    if post not in AT_STATIONS:
        return Place(post)
    at = {station.pk: station for station in stations}
    station = at.get(duty.station_id) if duty.station_id else _only(post, stations)
    return Place(post, station_need(station) if station else None)


def _only(post: Post, stations: Iterable[Station]) -> Station | None:
    at = {station.slug: station for station in stations}
    wanted = posts.needed([station_need(station) for station in at.values()])
    found = [at[place.station.key] for place in wanted if place.post is post and place.station]
    return found[0] if len(found) == 1 else None


def people_at_posts(clinic: Clinic) -> AtPosts:
    """All of it. Six queries, and one more where somebody films from under water."""
    stations = list(clinic.stations.all())
    duties = list(clinic.duties.select_related("user").order_by("user__name", "user__email"))
    venue = VenueSheet.objects.filter(clinic=clinic).only("lifeguard").first()
    lifeguard = venue.lifeguard if venue is not None else ""
    lines, loose = _lines(stations, duties, lifeguard)
    needs = [station_need(station) for station in stations]
    held = held_by(duties, stations, lifeguard)
    names = {str(duty.user_id): str(duty.user) for duty in duties}
    return AtPosts(
        clinic=clinic,
        stations=stations,
        lines=lines,
        loose=loose,
        findings=posts.findings(needs, held),
        people=posts.people(needs, held),
        dives=_dives(clinic, lines),
        candidates=_candidates(clinic),
        visits=visits_of(clinic, [duty.user for duty in duties]),
        names=names | {one.person: lifeguard for one in held if one.person not in names},
    )


def held_by(
    duties: Iterable[Duty], stations: Sequence[Station], lifeguard: str = ""
) -> tuple[Held, ...]:
    """People by their keys. A lifeguard who is called as somebody of the team is that person."""
    rows = []
    keys: dict[str, str] = {}
    for duty in duties:
        place = place_of(duty, stations)
        station = place.station.key if place.station else None
        rows.append(Held(str(duty.user_id), place.post, station))
        keys[plain_name(duty.user.name)] = str(duty.user_id)
    if lifeguard:
        key = keys.get(plain_name(lifeguard)) or f"lifeguard {plain_name(lifeguard)}"
        rows.append(Held(key, Post.LIFEGUARD))
    return tuple(rows)


def plain_name(name: str) -> str:
    return " ".join(name.casefold().split())


def _lines(
    stations: Sequence[Station], duties: Sequence[Duty], lifeguard: str
) -> tuple[list[PostLine], list[Duty]]:
    """Every post that is needed, and the duties that are at none of them."""
    by_slug = {station.slug: station for station in stations}
    at: dict[Place, list[Duty]] = defaultdict(list)
    for duty in duties:
        at[place_of(duty, stations)].append(duty)
    lines = [
        PostLine(
            place,
            by_slug[place.station.key] if place.station else None,
            tuple(at.pop(place, ())),
            lifeguard if place.post is Post.LIFEGUARD else "",
        )
        for place in posts.needed([station_need(station) for station in stations])
    ]
    return lines, [duty for rest in at.values() for duty in rest]


def _candidates(clinic: Clinic) -> list[Candidate]:
    day = day_of_work(clinic)
    rows = clinic.club.memberships.filter(on_that_day(day), user__is_active=True)
    by_user: dict[User, list[Membership]] = defaultdict(list)
    for row in rows.select_related("user").order_by("user__name", "user__email", "role"):
        by_user[row.user].append(row)
    return [Candidate(user, tuple(mine)) for user, mine in by_user.items()]


def _dives(clinic: Clinic, lines: Sequence[PostLine]) -> list[StationDives]:
    return list(_each_dives(clinic, [line for line in lines if line.place.post is Post.OPERATOR]))


def _each_dives(clinic: Clinic, lines: Sequence[PostLine]) -> Iterator[StationDives]:
    if not lines:
        return
    groups = clinic.lane_groups.annotate(swimmers=Count("entries")).order_by("order", "name")
    sizes = [(group.name, group.swimmers) for group in groups]
    for line in lines:
        if line.station is None:
            continue
        each_go = passes_of(clinic, line.station)
        rows = [(name, count * each_go) for name, count in sizes]
        operators = {str(duty.user_id): str(duty.user) for duty in line.duties}
        yield StationDives(
            station=line.station,
            each_go=each_go,
            swimmers=sum(count for _name, count in sizes),
            dives=dives_shared(rows, list(operators), clinic.most_dives_each),
            names=operators,
        )


def passes_of(clinic: Clinic, station: Station) -> int:
    """How often a swimmer goes by an underwater station in one go."""
    found = passes(
        kind=UNDERWATER,
        x_m=station.x_m,
        course_m=clinic.course_m,
        distance_m=clinic.distance_m,
        pace_s_per_100m=ANY_PACE,
    )
    return len(found)
