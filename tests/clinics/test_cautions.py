"""What the cautions say for a pool hour, and when their words change.

What belongs to a pool hour's cautions is common practice, no source; published limits have theirs
in test_start_depth.py.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
import re
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clinics.compute import caution_words
from clinics.compute.cautions import Situation, Topic, to_read, topics
from clinics.compute.errors import Said
from clinics.compute.posts import StationNeed, cautions
from clinics.compute.start_depth import Against
from clinics.compute.start_limits import LIMITS
from clinics.compute.start_words import Here, depth_words, height_words, limit_lines, sum_up
from clinics.models import Entry

DAY = dt.date(2026, 11, 3)
HERE = Here(
    profile=((0.0, 1.2), (1.0, 1.4), (6.0, 2.0)),
    measured_by="Petra Voss",
    measured_on=DAY,
    measured_how="lane 1, tape with a weight",
    has_blocks=True,
    block_height_m=0.7,
    edge_height_m=0.3,
)
HELD = StationNeed("dive", "underwater", fixed_mount=False)
WALL = StationNeed("wall", "underwater", fixed_mount=True)
WALK = StationNeed("walk", "deck", fixed_mount=False)
STAND = StationNeed("stand", "deck", fixed_mount=True)
FULL = Situation(
    here=HERE,
    starts=frozenset({"block", "edge", "water"}),
    stations=(HELD, WALK),
    posts=frozenset({"starter", "operator", "watcher"}),
    power="one socket in the store room",
)
EMPTY = Situation()


def topic(of: Situation, key: str) -> Topic:
    return next(one for one in topics(of) if one.key == key)


def told(one: Topic) -> str:
    return "\n".join(one.text())


# --- never that it is safe ----------------------------------------------------------------------


@pytest.mark.parametrize("of", [FULL, EMPTY, Situation(here=HERE), Situation(stations=(WALL,))])
def test_cautions_never_say_that_something_is_safe(of: Situation) -> None:
    text = "\n".join(told(one) for one in topics(of)).replace(caution_words.NEVER_SAFE, "")
    sources = {text for limit in LIMITS for text in (limit.source, limit.address)}
    for line in text.splitlines():
        if line not in sources:
            assert not re.search(r"\b(un)?safe(ly|ty)?\b|\bdeep enough\b|\ballowed\b", line), line


@given(st.floats(0.01, 20), st.sampled_from(["block", "edge"]))
def test_deep_water_is_no_leave_to_start(depth_m: float, start: str) -> None:
    here = dataclasses.replace(HERE, profile=((0.0, depth_m), (10.0, depth_m)))
    lines = limit_lines(here, {start})
    says = sum_up(lines, here)
    below = sum(line.against is Against.BELOW for line in lines)
    assert below == sum(depth_m < line.limit.depth_m for line in lines)
    assert ("no leave to start" in says) == (below == 0)


def test_deference_stands_beside_the_limits() -> None:
    text = told(topic(FULL, "start"))
    assert "pool's operator, the local code and the governing body" in text
    assert "licensed coach or teacher" in text


# --- the depth here beside the limits -----------------------------------------------------------


def test_every_limit_for_the_starts_here_stands_once_strictest_first() -> None:
    for starts in ({"block"}, {"edge"}, {"block", "edge"}, {"block", "edge", "water"}):
        lines = limit_lines(HERE, starts)
        wanted = {limit.key for limit in LIMITS if starts & set(limit.starts)}
        assert sorted(line.limit.key for line in lines) == sorted(wanted)
        depths = [line.limit.depth_m for line in lines]
        assert depths == sorted(depths, reverse=True)
    assert limit_lines(HERE, {"water"}) == ()


def test_limit_is_read_whole() -> None:
    for line in limit_lines(HERE, {"block", "edge"}):
        text = "\n".join(line.text())
        limit = line.limit
        for part in (limit.body, limit.applies_to, limit.condition, limit.source, limit.address):
            assert part in text
        assert f"{limit.depth_m:g} m" in text


def test_limit_says_what_height_it_is_meant_for() -> None:
    by_key = {line.limit.key: line for line in limit_lines(HERE, {"block", "edge"})}
    assert by_key["red-cross"].heights == ("it names no height",)
    assert by_key["fina-minimum"].heights == ("from the block: meant for heights up to 0.75 m",)
    higher = dataclasses.replace(HERE, block_height_m=0.9, edge_height_m=None)
    by_key = {line.limit.key: line for line in limit_lines(higher, {"block", "edge"})}
    assert "here it is higher" in by_key["fina-minimum"].heights[0]
    assert "nobody has said how high it is here" in by_key["swim-england-preliminary"].heights[0]


@pytest.mark.parametrize(
    ("profile", "says"),
    [
        ((), "Nobody has said how deep it is."),
        (((10.0, 2.0), (20.0, 1.0)), "Nobody has said how deep it is between 1.0 and 6.0 m"),
        (((0.0, 2.0), (4.0, 1.5)), "Measured from 1.0 to 4.0 m from the start wall only"),
        (((0.0, 1.0), (2.0, 2.0), (8.0, 2.0)), "is 1.5 m, at 1.0 m"),
    ],
)
def test_depth_is_said_as_far_as_it_was_measured(profile: Any, says: str) -> None:
    assert says in depth_words(dataclasses.replace(HERE, profile=profile))[0]


def test_who_measured_the_depth_is_said_or_missed() -> None:
    assert depth_words(HERE)[-1] == "Measured: Petra Voss; 2026-11-03; lane 1, tape with a weight."
    nobody = Here(profile=HERE.profile)
    for missed in ("by whom", "when", "where and how"):
        assert missed in depth_words(nobody)[-1]


def test_partly_measured_depth_is_never_set_above_a_limit() -> None:
    here = dataclasses.replace(HERE, profile=((0.0, 3.0), (4.0, 3.0)))
    lines = limit_lines(here, {"block"})
    assert {line.against for line in lines} == {Against.NOT_MEASURED}
    assert "not all was measured" in lines[0].says
    assert "not all was measured" in sum_up(lines, here)


def test_each_kind_of_start_has_its_words() -> None:
    assert "0.7 m" in height_words("block", HERE)
    assert "0.3 m" in height_words("edge", HERE)
    assert "not head first" in height_words("water", HERE)
    assert "no blocks" in height_words("block", Here(has_blocks=False))
    in_water = topic(Situation(here=HERE, starts=frozenset({"water"})), "start")
    assert in_water.limits == ()
    assert set(Entry.Start.values) == {"block", "edge", "water"}
    nobody = topic(EMPTY, "start")
    assert "blocks" in told(nobody) and "edge" in told(nobody)


# --- who films, walks, plugs in -----------------------------------------------------------------


def test_every_caution_of_kits_and_posts_stands_somewhere() -> None:
    for stations in ((HELD, WALK), (WALL, STAND), (HELD,), (WALK,)):
        text = "\n".join(told(one) for one in topics(Situation(stations=stations)))
        for item in cautions(stations):
            assert item.words in text
            assert (item.why or "") in text


def test_under_water_speaks_of_dives_only_where_somebody_dives() -> None:
    assert "under-water" not in [one.key for one in topics(Situation(stations=(WALK,)))]
    fixed = told(topic(Situation(stations=(WALL,)), "under-water"))
    assert "their breath" not in fixed and "mount is put up before" in fixed
    held = told(topic(Situation(stations=(HELD,)), "under-water"))
    for words in ("their breath", "how many dives", "Dives are shared out", "never on a person"):
        assert words in held
    assert held.index("Fixed mount") < held.index("their breath")  # what is preferred stands first
    someone = Situation(stations=(WALL,), posts=frozenset({"operator"}))
    assert "their breath" in told(topic(someone, "under-water"))


def test_deck_speaks_of_walking_only_to_who_walks() -> None:
    assert "forwards only" in told(topic(Situation(stations=(WALK,)), "deck"))
    assert "forwards only" not in told(topic(Situation(stations=(STAND,)), "deck"))


def test_power_is_said_or_missed() -> None:
    assert "Nobody has said anything of mains power" in told(topic(EMPTY, "mains"))
    assert "one socket in the store room" in told(topic(FULL, "mains"))


@pytest.mark.parametrize("post", ["starter", "logger", "marshal", "camera", "operator", "watcher"])
def test_everybody_at_a_post_reads_what_is_for_all(post: str) -> None:
    assert all(to_read(key, post) for key in ("start", "deck", "mains", "cold"))
    assert to_read("under-water", post) == (post in {"starter", "operator", "watcher"})
    assert to_read("under-water", "camera", "underwater")
    assert not to_read("start", "checker")


# --- when the words change ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("change", "changes"),
    [
        ({"here": dataclasses.replace(HERE, profile=((0.0, 1.0), (6.0, 2.0)))}, {"start"}),
        ({"here": dataclasses.replace(HERE, measured_by="Ines Aldana")}, {"start"}),
        ({"here": dataclasses.replace(HERE, block_height_m=0.5)}, {"start"}),
        ({"starts": frozenset({"block"})}, {"start"}),
        ({"power": ""}, {"mains"}),
        ({"stations": (HELD, STAND)}, {"deck"}),
        ({"posts": frozenset({"starter"})}, set()),  # somebody dives all the same
    ],
)
def test_words_change_with_what_they_depend_on(change: dict[str, Any], changes: set[str]) -> None:
    before = {one.key: one.sha256 for one in topics(FULL)}
    after = {one.key: one.sha256 for one in topics(dataclasses.replace(FULL, **change))}
    assert {key for key in before if before[key] != after[key]} == changes


def test_words_are_the_same_each_time_and_each_topic_has_its_own() -> None:
    once, again = topics(FULL), topics(FULL)
    assert [one.sha256 for one in once] == [one.sha256 for one in again]
    assert len({one.sha256 for one in once}) == len(once)


def test_every_sentence_can_be_translated() -> None:
    for one in topics(FULL):
        sentences = [one.title, *one.facts, *(line.words for line in one.lines)]
        sentences += [line.why for line in one.lines if line.why]
        assert all(isinstance(sentence, Said) for sentence in sentences)
    assert all(isinstance(line, Said) for line in caution_words.SHORT)
