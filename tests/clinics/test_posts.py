"""Who stands where: posts, what one person cannot hold at once, the fewest people.

Which posts go together is common practice, no source. The fewest people are counted here a
second time by trying every way of handing out the posts, from a table written by hand. That
nobody is alone under water, holds their breath for long or again and again: a joint statement of
the Red Cross and the Y-USA of 2015 (ymca.net), and a state's health department on breath-holding.
"""

from __future__ import annotations

from itertools import combinations, product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from clinics.compute.errors import BadInput, Said
from clinics.compute.posts import (
    Held,
    People,
    Place,
    Post,
    PostFinding,
    PostFindingKind,
    StationNeed,
    Why,
    _can_stand,
    cautions,
    excludes,
    findings,
    needed,
    people,
)

START = StationNeed("start", "start-side", fixed_mount=True)
WINDOW = StationNeed("window", "turn-window", fixed_mount=True)
WALL = StationNeed("wall", "underwater", fixed_mount=True)
DIVE = StationNeed("dive", "underwater", fixed_mount=False)
DECK = StationNeed("deck", "deck", fixed_mount=False)
HAND = StationNeed("hand", "start-side", fixed_mount=False)
EVERY = (START, WINDOW, WALL, DIVE, DECK, HAND)
STATION_LISTS = st.lists(st.sampled_from(EVERY), max_size=4, unique=True)
quick = settings(max_examples=60, deadline=None)

# A clinic with all its people: six and a lifeguard, the checker among them.
STATIONS = (START, DIVE, DECK)
CREW = (
    Held("Ada", Post.STARTER),
    Held("Ada", Post.CHECKER),
    Held("Ben", Post.LOGGER),
    Held("Cleo", Post.MARSHAL),
    Held("Dev", Post.CAMERA, "start"),
    Held("Eve", Post.OPERATOR, "dive"),
    Held("Fay", Post.WATCHER, "dive"),
    Held("Gus", Post.CAMERA, "deck"),
    Held("Hal", Post.LIFEGUARD),
)


def kinds(found: tuple[PostFinding, ...]) -> list[str]:
    return [one.kind.value for one in found]


def moved(who: str, row: Held) -> tuple[Held, ...]:
    """The crew, with another person in that row's place."""
    there = [one for one in CREW if (one.post, one.station) == (row.post, row.station)]
    return (*[one for one in CREW if one not in there], Held(who, row.post, row.station))


def test_each_station_has_its_posts() -> None:
    posts = [(one.post.value, one.station.key if one.station else "") for one in needed(STATIONS)]
    assert posts == [
        ("starter", ""),
        ("logger", ""),
        ("marshal", ""),
        ("camera", "start"),
        ("operator", "dive"),
        ("watcher", "dive"),
        ("camera", "deck"),
        ("checker", ""),
        ("lifeguard", ""),
    ]


def test_a_fixed_mount_needs_nobody_in_the_water() -> None:
    posts = {place.post for place in needed([WALL])}
    assert not posts & {Post.OPERATOR, Post.WATCHER}
    assert Place(Post.CAMERA, WALL) in needed([WALL]), "somebody starts it"


def test_stations_that_cannot_be_meant_are_all_named() -> None:
    with pytest.raises(BadInput) as bad:
        needed([START, START, StationNeed("x", "drone", fixed_mount=True)])
    assert [where for where, _sentence in bad.value.errors] == ["stations", "station x.kind drone"]
    assert all(isinstance(sentence, Said) for _where, sentence in bad.value.errors)


def test_a_full_crew_has_no_findings() -> None:
    assert findings(STATIONS, CREW) == ()
    assert people(STATIONS, CREW) == People(least=5, named=7, short=0)


@pytest.mark.parametrize("row", CREW, ids=lambda row: row.post.value)
def test_whoever_is_taken_away_is_missing(row: Held) -> None:
    found = findings(STATIONS, [one for one in CREW if one != row])
    assert kinds(found) == ["missing"]
    assert (found[0].places[0].post, found[0].person) == (row.post, None)


def test_the_deck_camera_cannot_log() -> None:
    (found,) = findings(STATIONS, moved("Gus", Held("", Post.LOGGER)))
    assert found.kind is PostFindingKind.TWICE_EXCLUDED
    assert (found.person, found.why) == ("Gus", Why.WALKS)
    assert {place.post for place in found.places} == {Post.CAMERA, Post.LOGGER}


def test_nobody_watches_themselves() -> None:
    (found,) = findings(STATIONS, moved("Eve", Held("", Post.WATCHER, "dive")))
    assert (found.kind, found.person) == (PostFindingKind.WATCHER_IS_OPERATOR, "Eve")


def test_who_watches_one_operator_does_not_dive_elsewhere() -> None:
    two = StationNeed("dive-2", "underwater", fixed_mount=False)
    rows = [Held("Fay", Post.OPERATOR, "dive-2"), Held("Ida", Post.WATCHER, "dive-2")]
    found = findings((*STATIONS, two), [*CREW, *rows])
    assert [(one.kind, one.person) for one in found] == [(PostFindingKind.TWICE_EXCLUDED, "Fay")]


@pytest.mark.parametrize("row", CREW[:-1], ids=lambda row: row.post.value)
def test_the_lifeguard_holds_no_other_post(row: Held) -> None:
    found = findings(STATIONS, moved("Hal", row))
    assert kinds(found) == ["lifeguard-elsewhere"]
    assert found[0].why is Why.GIVEN_BY_POOL


def test_the_logger_may_be_the_marshal_and_keep_a_camera_that_stands() -> None:
    rows = [one for one in CREW if one.person not in ("Cleo", "Dev")]
    rows += [Held("Ben", Post.MARSHAL), Held("Ben", Post.CAMERA, "start")]
    (found,) = findings(STATIONS, rows)
    assert (found.kind, found.person, found.why) == (PostFindingKind.A_LOT, "Ben", None)
    assert {place.post for place in found.places} == {Post.LOGGER, Post.MARSHAL, Post.CAMERA}


def test_who_holds_what_excludes_is_not_told_that_it_is_a_lot() -> None:
    found = findings(STATIONS, moved("Ada", Held("", Post.LOGGER)))
    assert kinds(found) == ["twice-excluded"]
    assert found[0].why is Why.LOOKS_AT_LANE


def test_who_dives_where_the_plan_has_nobody_is_watched_too() -> None:
    rows = [one for one in CREW if one.station != "dive"]
    rows += [Held("Dev", Post.CAMERA, "wall"), Held("Eve", Post.OPERATOR, "wall")]
    found = findings((START, WALL, DECK), rows)
    assert kinds(found) == ["missing", "not-needed", "a-lot"]
    assert found[0].places == (Place(Post.WATCHER, WALL),)
    watched = findings((START, WALL, DECK), [*rows, Held("Fay", Post.WATCHER, "wall")])
    assert kinds(watched) == ["not-needed", "a-lot"]


def test_a_station_that_is_gone_is_named_with_who_stood_there() -> None:
    found = findings((START, DIVE), CREW)
    assert [(one.kind.value, one.person) for one in found] == [("not-needed", "Gus")]


def test_rows_that_say_the_same_count_once() -> None:
    assert findings(STATIONS, [*CREW, *CREW]) == ()
    assert findings(STATIONS, [*CREW, Held("Ben", Post.LOGGER, "start")]) == ()


@pytest.mark.parametrize(
    ("stations", "least"),
    [
        ((), 2),  # a starter, and a logger who is the marshal
        ((START, WINDOW, WALL), 2),  # all stand by themselves
        ((START, DECK), 3),
        ((START, DIVE), 4),
        ((START, DIVE, DECK), 5),
        ((HAND, DECK, WINDOW), 4),
    ],
)
def test_the_fewest_people_by_hand(stations: tuple[StationNeed, ...], least: int) -> None:
    assert people(stations).least == least
    assert people(stations, [Held("Ada", Post.STARTER)]).short == least - 1


def test_whoever_keeps_a_camera_first_still_cannot_start_and_log() -> None:
    """In whatever order posts are handed out."""
    places = [Place(Post.CAMERA, START), Place(Post.STARTER), Place(Post.LOGGER)]
    assert not _can_stand(places, [], 1)
    assert _can_stand(places, [], 2)


def test_a_lifeguard_and_a_checker_fill_no_gap() -> None:
    rows = [Held("Hal", Post.LIFEGUARD), Held("Hal", Post.LOGGER), Held("Ida", Post.CHECKER)]
    assert people([START], rows) == People(least=2, named=0, short=2)


def alone(place: Place) -> bool:
    """By hand: whoever holds it can hold nothing else during the hour."""
    if place.post in (Post.OPERATOR, Post.WATCHER):
        return True
    return place.station in (DECK, HAND)


def go_together(one: Place, other: Place) -> bool:
    if alone(one) or alone(other):
        return False
    return {one.post, other.post} not in (
        {Post.STARTER, Post.LOGGER},
        {Post.STARTER, Post.MARSHAL},
    )


@settings(max_examples=20, deadline=None)
@given(st.lists(st.sampled_from(EVERY), max_size=2, unique=True))
def test_the_fewest_people_by_every_way_there_is(stations: list[StationNeed]) -> None:
    places = [p for p in needed(stations) if p.post not in (Post.CHECKER, Post.LIFEGUARD)]
    pairs = list(combinations(range(len(places)), 2))
    apart = [(a, b) for a, b in pairs if not go_together(places[a], places[b])]
    ways = product(range(len(places)), repeat=len(places) - 1)  # the first post is person 0's
    counts = (
        len({0, *rest}) for rest in ways if all((0, *rest)[a] != (0, *rest)[b] for a, b in apart)
    )
    assert people(stations).least == min(counts)


@quick
@given(STATION_LISTS)
def test_what_excludes_does_so_both_ways_and_the_checker_nothing(
    stations: list[StationNeed],
) -> None:
    for one, other in combinations(needed(stations), 2):
        assert excludes(one, other) is excludes(other, one)
        posts = {one.post, other.post}
        if Post.LIFEGUARD in posts:
            assert excludes(one, other) is Why.GIVEN_BY_POOL
        else:
            together = Post.CHECKER in posts or go_together(one, other)
            assert (excludes(one, other) is None) == together


@quick
@given(STATION_LISTS, st.data())
def test_one_person_too_few_never_goes_however_they_stand(
    stations: list[StationNeed], data: st.DataObject
) -> None:
    few = st.sampled_from(range(people(stations).least - 1))
    rows = [Held("Hal", Post.LIFEGUARD)]
    for place in needed(stations):
        if place.post is not Post.LIFEGUARD:
            at = place.station.key if place.station else None
            rows.append(Held(f"helper {data.draw(few)}", place.post, at))
    assert people(stations, rows).short > 0
    wrong = {"twice-excluded", "watcher-is-operator"}
    assert set(kinds(findings(stations, rows))) & wrong
    assert set(kinds(findings(stations, rows))) <= wrong | {"a-lot"}


def test_cautions_are_for_who_does_it() -> None:
    """Breath, dives and weights for who goes under water; a fixed mount instead; a wet deck."""
    assert [item.key for item in cautions([DECK])] == ["battery-only", "clear-way"]
    under = {item.key for item in cautions([DIVE])}
    assert {"breath-hold", "dives", "mount-weights", "watcher", "fixed-mount"} <= under
    fixed = {item.key for item in cautions([WALL])}
    assert not fixed & {"breath-hold", "dives", "fixed-mount"}
    both = [item.key for item in cautions([DIVE, DECK, DIVE])]
    assert len(both) == len(set(both))
    assert not [item for item in cautions(EVERY) if "safe" in f"{item.words} {item.why}".lower()]
