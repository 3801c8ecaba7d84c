"""Who stands where during the pool hour: which posts a clinic needs, which of them one person
cannot hold at once, and how many people that takes.

Which posts go together is common practice, no source: the starter looks at the lane and does
nothing else that needs eyes; the logger stands by the starter and may be the marshal in a small
team; a camera in the hand takes a whole person, and so does being under water or watching
whoever is; a camera on a fixed mount is left running, so whoever keeps it may do something else
as well. The checker's duty comes after the day. The lifeguard is the pool's and does nothing
else. Nothing here says that something is safe.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import combinations

from clinics.compute.checks import Errors, known, once, raise_if_any
from clinics.compute.errors import say as _
from clinics.compute.geometry import DECK, SEEN_M, UNDERWATER
from clinics.compute.station_needs import KitItem, kit

KINDS = (*SEEN_M, DECK)


class Post(StrEnum):
    STARTER = "starter"
    LOGGER = "logger"
    MARSHAL = "marshal"  # sends the next swimmer
    CAMERA = "camera"  # of a station; on a fixed mount: starts it and looks after it
    OPERATOR = "operator"  # under water with the camera of a station
    WATCHER = "watcher"  # looks only after that station's operator
    CHECKER = "checker"  # looks the swims through afterwards
    LIFEGUARD = "lifeguard"  # given by the pool


class Why(StrEnum):
    """Why two posts exclude each other; the first that holds is the one that is named."""

    GIVEN_BY_POOL = "given-by-pool"  # the lifeguard watches the water and does nothing else
    UNDER_WATER = "under-water"
    ONLY_WATCHES = "only-watches"
    WALKS = "walks"  # along a wet deck, with eyes on the picture
    CAMERA_IN_HAND = "camera-in-hand"
    LOOKS_AT_LANE = "looks-at-lane"  # the starter; the other one looks at a screen or a queue


class PostFindingKind(StrEnum):
    LIFEGUARD_ELSEWHERE = "lifeguard-elsewhere"
    WATCHER_IS_OPERATOR = "watcher-is-operator"
    TWICE_EXCLUDED = "twice-excluded"
    MISSING = "missing"
    NOT_NEEDED = "not-needed"  # its station has no such post, or there is no such station
    A_LOT = "a-lot"  # one person in several posts that go together: a caution


@dataclass(frozen=True)
class StationNeed:
    """`kind` as in geometry.py. `fixed_mount`: the camera stands by itself and is left running;
    a deck camera without one walks along."""

    key: str
    kind: str
    fixed_mount: bool


@dataclass(frozen=True)
class Place:
    """A post, and at which station if it is one of a station."""

    post: Post
    station: StationNeed | None = None


@dataclass(frozen=True)
class Held:
    """The same `person` is the same text in every row. `station` is a station's key."""

    person: str
    post: Post
    station: str | None = None


@dataclass(frozen=True)
class PostFinding:
    """`places`: which posts it is about, two of them if they exclude each other. `person` is
    None where nobody stands; `why` is None unless posts exclude each other."""

    kind: PostFindingKind
    places: tuple[Place, ...]
    person: str | None = None
    why: Why | None = None


@dataclass(frozen=True)
class People:
    """`least`: the fewest people who can do it beside the lifeguard; `named`: how many stand
    somewhere during the hour; `short`: how many more it takes even if all may change posts."""

    least: int
    named: int
    short: int


def needed(stations: Sequence[StationNeed]) -> tuple[Place, ...]:
    """Every post to be held, those of stations in the stations' order. An underwater camera on
    a fixed mount needs nobody in the water, and so no watcher. BadInput: a station twice, or of
    an unknown kind.

    >>> [place.post.value for place in needed([StationNeed("u", "underwater", False)])][3:5]
    ['operator', 'watcher']
    """
    errors: Errors = []
    once("stations", [one.key for one in stations], errors)
    for one in stations:
        known(f"station {one.key}.kind", [one.kind], KINDS, errors)
    raise_if_any(errors)
    at_stations = [Place(post, one) for one in stations for post in _posts_at(one)]
    first = [Place(post) for post in (Post.STARTER, Post.LOGGER, Post.MARSHAL)]
    return (*first, *at_stations, Place(Post.CHECKER), Place(Post.LIFEGUARD))


def _posts_at(station: StationNeed) -> tuple[Post, ...]:
    if station.kind == UNDERWATER and not station.fixed_mount:
        return Post.OPERATOR, Post.WATCHER
    return (Post.CAMERA,)


def excludes(one: Place, other: Place) -> Why | None:
    """Why one person cannot hold both at once; None: they can.

    >>> deck = StationNeed("deck", "deck", fixed_mount=False)
    >>> excludes(Place(Post.CAMERA, deck), Place(Post.LOGGER)).value
    'walks'
    """
    posts = {one.post, other.post}
    if Post.LIFEGUARD in posts:
        return Why.GIVEN_BY_POOL
    if Post.CHECKER in posts:
        return None
    whole = [why for why in (_takes_all(one), _takes_all(other)) if why]
    if whole:
        return min(whole, key=list(Why).index)
    if Post.STARTER in posts and posts & {Post.LOGGER, Post.MARSHAL}:
        return Why.LOOKS_AT_LANE
    return None


def _takes_all(place: Place) -> Why | None:
    """Why this post takes a whole person during the hour, whatever the other one is."""
    if place.post is Post.OPERATOR:
        return Why.UNDER_WATER
    if place.post is Post.WATCHER:
        return Why.ONLY_WATCHES
    if place.post is not Post.CAMERA or (place.station and place.station.fixed_mount):
        return None
    return Why.WALKS if place.station and place.station.kind == DECK else Why.CAMERA_IN_HAND


def findings(stations: Sequence[StationNeed], held: Iterable[Held]) -> tuple[PostFinding, ...]:
    """What does not go, in the order of PostFindingKind; () if all is well. Several people may
    share a post. Whoever is under water needs a watcher, even where the plan has nobody there.
    BadInput as `needed` does."""
    at = {one.key: one for one in stations}
    wanted = dict.fromkeys(needed(stations))
    stand = list(dict.fromkeys((one.person, _place(one, at)) for one in held))
    places = [place for _person, place in stand]
    watched = [one.station for one in places if one.post is Post.OPERATOR]
    wanted |= dict.fromkeys(Place(Post.WATCHER, station) for station in watched)
    found = [PostFinding(PostFindingKind.MISSING, (one,)) for one in wanted if one not in places]
    for person, place in stand:
        if place not in wanted:
            found.append(PostFinding(PostFindingKind.NOT_NEEDED, (place,), person))
    for person in dict.fromkeys(person for person, _place in stand):
        found += _of_person(person, [place for who, place in stand if who == person])
    order = list(PostFindingKind)
    return tuple(sorted(found, key=lambda one: order.index(one.kind)))


def _place(held: Held, at: Mapping[str, StationNeed]) -> Place:
    """Where that is; what is no station's has none, whatever the row says."""
    if held.post not in (Post.CAMERA, Post.OPERATOR, Post.WATCHER):
        return Place(held.post)
    return Place(held.post, at.get(held.station or ""))


def _of_person(person: str, places: Sequence[Place]) -> Iterator[PostFinding]:
    wrong = [found for pair in combinations(places, 2) if (found := _of_pair(person, *pair))]
    yield from wrong
    on_the_day = tuple(place for place in places if place.post is not Post.CHECKER)
    if len(on_the_day) > 1 and not wrong:
        yield PostFinding(PostFindingKind.A_LOT, on_the_day, person)


def _of_pair(person: str, one: Place, other: Place) -> PostFinding | None:
    why = excludes(one, other)
    if why is None:
        return None
    kind = PostFindingKind.TWICE_EXCLUDED
    if why is Why.GIVEN_BY_POOL:
        kind = PostFindingKind.LIFEGUARD_ELSEWHERE
    elif one.station == other.station and {one.post, other.post} == {Post.OPERATOR, Post.WATCHER}:
        kind = PostFindingKind.WATCHER_IS_OPERATOR
    return PostFinding(kind, (one, other), person, why)


def people(stations: Sequence[StationNeed], held: Iterable[Held] = ()) -> People:
    """How many people it takes. A lifeguard counts for none, and who is only a checker need not
    be at the pool. BadInput as `needed` does.

    >>> people([StationNeed("start", "start-side", True), StationNeed("deck", "deck", False)])
    People(least=3, named=0, short=3)
    """
    stand = list(held)
    guards = {one.person for one in stand if one.post is Post.LIFEGUARD}
    named = len({one.person for one in stand if one.post is not Post.CHECKER} - guards)
    least = _least(needed(stations))
    return People(least, named, max(least - named, 0))


def _least(places: Iterable[Place]) -> int:
    """The fewest people, by trying: exact, and quick since most posts exclude all others."""
    day = [one for one in places if one.post not in (Post.CHECKER, Post.LIFEGUARD)]
    left = sorted(day, key=lambda place: sum(excludes(place, other) is None for other in day))
    return next(count for count in range(len(left) + 1) if _can_stand(left, [], count))


def _can_stand(left: Sequence[Place], people: list[list[Place]], more: int) -> bool:
    """Whether `people`, by what each holds already, and at most `more` others can hold `left`."""
    if not left:
        return True
    first, rest = left[0], left[1:]
    for at, holds in enumerate(people):
        if not any(excludes(first, other) for other in holds):
            now = [*people[:at], [*holds, first], *people[at + 1 :]]
            if _can_stand(rest, now, more):
                return True
    return more > 0 and _can_stand(rest, [*people, [first]], more - 1)


CAUTIONS = (
    KitItem(
        "breath-hold",
        _("Nobody holds their breath for long or again and again, nor breathes fast before"),
        _("whoever faints under water sinks without a sound and is hard to see from above"),
        caution=True,
    ),
    KitItem(
        "dives",
        _("Agreed with the lifeguard before: how many dives, how long each, when to rest"),
        caution=True,
    ),
)


def cautions(stations: Iterable[StationNeed]) -> tuple[KitItem, ...]:
    """What is to be read before the hour: the kit's cautions of these stations, a fixed mount as
    what is preferred, and what is for whoever goes under water. Each once.

    >>> [item.key for item in cautions([StationNeed("deck", "deck", fixed_mount=False)])]
    ['battery-only', 'clear-way']
    """
    found: dict[str, KitItem] = {}
    for station in stations:
        if station.kind == UNDERWATER and not station.fixed_mount:
            found |= {item.key: item for item in CAUTIONS}
        for item in kit(station.kind):
            if item.caution or (item.key == "fixed-mount" and not station.fixed_mount):
                found[item.key] = item
    return tuple(found.values())
