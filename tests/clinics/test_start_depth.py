"""Published limits on the depth for head-first starts, beside a measured depth.

Each row of PUBLISHED names where its figure was read. Block heights: 0.50 to 0.75 m (DSV
§ 132, schwimmen-wssv.de/WB/Aktuell/WB-SW132.htm; FINA FR 2.7), 30 inches in US rules
(recreonics.com, selecting a starting platform). The zone from 1 to 6 m: FINA FR 2.3, as the same
maker's table and dlgsc.wa.gov.au give it.
"""

from __future__ import annotations

import math
import re
from dataclasses import fields, is_dataclass

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from clinics.compute import start_depth as depth_module
from clinics.compute.errors import BadInput, Said
from clinics.compute.start_depth import (
    DEFERENCE,
    NOT_MEASURED,
    Against,
    Height,
    Measured,
    least_depth,
    limits_for,
    start_depth,
)
from clinics.compute.start_limits import BLOCK, EDGE, LIMITS, STUDIES, WATER, Limit, Seen, Study

FOOT_M = 0.3048
BY_KEY = {limit.key: limit for limit in LIMITS}
PUBLISHED = {
    # aquaticsintl.com/safety: “at least 9 feet deep unless performed with proper supervision …”
    "red-cross": 9 * FOOT_M,
    # fina.org, FR 3.3: “2 Metres (minimum); 3 metres recommended”
    "fina-championships": 2.0,
    # swimmingworldmagazine.com: “a minimum pool depth of 6 feet 7 inches” (2.007 m)
    "mahc": 2.0,
    # royallifesaving.com.au SD1: blocks or upstands up to 750 mm: 2m; from water level: 1.8m
    "rlssa-block": 2.0,
    "rlssa-edge": 1.8,
    # teamunify.com/team/mams: “shall be 6 feet (1.84 meters)”
    "usa-teaching": 6 * FOOT_M,
    # regulationlectures.com/index-521.html: “perform a dive start in water of 1.8m”
    "swim-england-new": 1.8,
    # rlss.org.uk: “a minimum depth of 1.5 metres”; teaching: “a minimum water depth of 1.8 metres”
    "rlss-uk": 1.5,
    "rlss-uk-teaching": 1.8,
    # swimherts.org: “racing entries below 1.5m depth … required to hold a competitive start award”
    "swim-england-award": 1.5,
    # swimming.org, awards: “Minimum water depth 1.5 metres, maximum freeboard 0.38 metres”
    "swim-england-preliminary": 1.5,
    # m11league.org: “Diving at the deep end requires a minimum depth of 1.5m”
    "league-reading": 1.5,
    # swimming.org, awards: “to dive in water 1.35 metres deep”; swimherts.org: 0.9m to 1.35m
    "swim-england": 1.35,
    # dlgsc.wa.gov.au: “the minimum depth is 1.35m, extending to at least 6.0m”
    "fina-minimum": 1.35,
    # ca.news.yahoo.com: 1.35 m for starting blocks, 1.2 m for pool decks
    "canada-block": 1.35,
    "canada-edge": 1.2,
    # swimmingworldmagazine.com: “list 4 feet as the minimum pool depth for executing racing starts”
    "us-racing": 4 * FOOT_M,
}
PROFILES = st.lists(
    st.tuples(
        st.floats(min_value=0, max_value=12).map(lambda x: round(x, 2)),
        st.floats(min_value=0.5, max_value=4),
    ),
    max_size=8,
    unique_by=lambda point: point[0],
)
quick = settings(max_examples=60, deadline=None)


def test_limits_are_what_was_published() -> None:
    assert {limit.key for limit in LIMITS} == set(PUBLISHED)
    for key, depth_m in PUBLISHED.items():
        assert BY_KEY[key].depth_m == pytest.approx(depth_m, abs=0.005), key


def test_every_limit_says_who_what_and_where_it_was_read() -> None:
    for limit in LIMITS:
        assert limit.body
        assert limit.source
        assert re.fullmatch(r"[a-z0-9.-]+\.[a-z]+[/,]\S?.*", limit.address), limit.address
        assert set(limit.starts) <= {BLOCK, EDGE}
        assert isinstance(limit.applies_to, Said)
        assert isinstance(limit.condition, Said)
    assert {limit.seen for limit in LIMITS} == {Seen.TEXT, Seen.SECONDARY}
    assert len(BY_KEY) == len(LIMITS)


def test_strictest_comes_first() -> None:
    """2.74, 2.0, 1.83 (teaching), 1.8, 1.5, 1.35, 1.22 m."""
    depths = [one.limit.depth_m for one in limits_for(1.8, 0.75, BLOCK)]
    assert depths == sorted(depths, reverse=True)
    assert list(dict.fromkeys(depths)) == [2.74, 2.0, 1.83, 1.8, 1.5, 1.35, 1.22]


def test_each_start_has_the_limits_that_are_meant_for_it() -> None:
    block = {one.limit.key for one in limits_for(1.8, None, BLOCK)}
    edge = {one.limit.key for one in limits_for(1.8, None, EDGE)}
    assert block | edge == set(BY_KEY)
    assert block - edge == {"rlssa-block", "fina-minimum", "canada-block"}
    assert edge - block == {"rlssa-edge", "swim-england-preliminary", "canada-edge"}
    assert limits_for(0.9, None, WATER) == ()


def test_a_depth_is_below_a_limit_or_not_and_a_limit_itself_is_not_below() -> None:
    told = {one.limit.key: one.against for one in limits_for(1.35, None, BLOCK)}
    assert told["swim-england"] is Against.NOT_BELOW
    assert told["us-racing"] is Against.NOT_BELOW
    assert told["rlss-uk"] is Against.BELOW
    assert all(one.against is Against.BELOW for one in limits_for(0.9, None, BLOCK))


def test_a_depth_that_was_not_measured_is_named_so() -> None:
    told = start_depth([], block_height_m=0.7, start=BLOCK)
    assert told.depth == NOT_MEASURED
    assert told.depth.state is Measured.NOT_MEASURED
    assert len(told.limits) == len([limit for limit in LIMITS if BLOCK in limit.starts])
    assert {one.against for one in told.limits} == {Against.NOT_MEASURED}


def test_a_zone_measured_in_part_can_only_be_below() -> None:
    told = start_depth([(2.0, 1.4), (4.0, 1.6)], block_height_m=None, start=BLOCK)
    assert (told.depth.state, told.depth.from_m, told.depth.to_m) == (Measured.PARTLY, 2.0, 4.0)
    told_of = {one.limit.key: one.against for one in told.limits}
    assert told_of["rlss-uk"] is Against.BELOW
    assert told_of["swim-england"] is Against.NOT_MEASURED
    assert Against.NOT_BELOW not in told_of.values()


@pytest.mark.parametrize(
    ("key", "start", "height_m", "told"),
    [
        ("rlssa-block", BLOCK, 0.75, "within"),
        ("rlssa-block", BLOCK, 0.8, "higher"),
        ("fina-minimum", BLOCK, None, "not-said"),
        ("us-racing", BLOCK, 30 * 0.0254, "within"),
        ("swim-england-preliminary", EDGE, 0.4, "higher"),
        ("red-cross", BLOCK, 0.8, "none-named"),
    ],
)
def test_a_limit_says_up_to_which_height_it_is_meant(
    key: str, start: str, height_m: float | None, told: str
) -> None:
    found = {one.limit.key: one.height for one in limits_for(2.0, height_m, start)}
    assert found[key] is Height(told)


def test_the_least_depth_of_the_zone_is_taken_straight_between_points() -> None:
    """A bottom that falls from 0.9 m at the wall by 0.1 m a metre: 1.0 m deep at 1 m."""
    slope = least_depth([(10.0, 1.9), (0.0, 0.9)])
    assert (slope.state, slope.at_m) == (Measured.WHOLE, 1.0)
    assert slope.least_m == pytest.approx(1.0)
    assert slope.widest_gap_m == 5.0
    hump = least_depth([(0.0, 2.0), (3.0, 1.2), (4.0, 1.9), (6.0, 2.0)])
    assert (hump.least_m, hump.at_m, hump.widest_gap_m) == (1.2, 3.0, 2.0)
    outside = least_depth([(0.0, 2.0), (1.0, 2.0), (6.0, 2.0), (7.0, 0.5)])
    assert outside.least_m == 2.0, "what lies beyond 6 m is not of the zone"


def test_points_outside_the_zone_alone_measure_nothing() -> None:
    assert least_depth([(0.0, 2.0), (0.5, 2.0)]) == NOT_MEASURED
    assert least_depth([(7.0, 2.0)]) == NOT_MEASURED
    one = least_depth([(3.0, 1.5)])
    assert (one.state, one.least_m, one.widest_gap_m) == (Measured.PARTLY, 1.5, 0.0)


def test_of_two_depths_at_one_place_the_lesser_counts() -> None:
    for two in ([(6.0, 1.9), (6.0, 1.4)], [(6.0, 1.4), (6.0, 1.9)]):
        assert least_depth([(1.0, 2.0), *two]).least_m == 1.4


@quick
@given(PROFILES)
def test_least_depth_is_the_least_of_numpys_interpolation(
    profile: list[tuple[float, float]],
) -> None:
    """Independent: numpy.interp on a fine grid and on the points themselves."""
    told = least_depth(profile)
    if told.state is Measured.NOT_MEASURED:
        assert not any(1 <= x <= 6 for x, _depth in profile)
        return
    assert told.from_m is not None
    assert told.to_m is not None
    xs, depths = zip(*sorted(profile), strict=True)
    nodes = [x for x in xs if told.from_m <= x <= told.to_m]
    grid = np.concatenate([np.linspace(told.from_m, told.to_m, 501), nodes])
    assert told.least_m == pytest.approx(float(np.interp(grid, xs, depths).min()))
    assert (told.state is Measured.WHOLE) == (xs[0] <= 1 and xs[-1] >= 6)


@quick
@given(
    st.floats(min_value=0.3, max_value=4),
    st.floats(min_value=0, max_value=2),
    st.sampled_from([BLOCK, EDGE]),
)
def test_deeper_water_is_never_below_more_limits(depth_m: float, more_m: float, start: str) -> None:
    here = [one.against is Against.BELOW for one in limits_for(depth_m, None, start)]
    deeper = [one.against is Against.BELOW for one in limits_for(depth_m + more_m, None, start)]
    assert sum(deeper) <= sum(here)
    assert here == sorted(here, reverse=True), "strictest first: below, then not below"


def test_points_that_cannot_be_meant_are_all_named() -> None:
    with pytest.raises(BadInput) as bad:
        least_depth([(1.0, 2.0), (-1.0, 2.0), (2.0, 0.0), (3.0, math.nan), (math.inf, 1.0)])
    assert [where for where, _told in bad.value.errors] == [
        "point 2", "point 3", "point 4", "point 5",
    ]  # fmt: skip


def test_nothing_says_that_a_start_is_safe() -> None:
    """Addresses aside, which are others' words: neither a text nor a name has the word."""
    texts = [str(DEFERENCE)]
    for row in (*LIMITS, *STUDIES):
        texts += [str(getattr(row, f.name)) for f in fields(row) if f.name != "address"]
    names = [name for name in vars(depth_module) if not name.startswith("__")]
    for kind in (k for k in vars(depth_module).values() if is_dataclass(k)):
        names += [f.name for f in fields(kind)]
        assert all(f.type != "bool" for f in fields(kind)), "a yes or no would be read as leave"
    for told in (*texts, *names, depth_module.__doc__ or ""):
        assert "safe" not in told.lower(), told


def test_the_deference_names_who_decides() -> None:
    for who in ("pool's operator", "local code", "governing body", "licensed"):
        assert who in DEFERENCE
    assert start_depth([], block_height_m=None, start=WATER).deference is DEFERENCE


def test_studies_are_no_limits() -> None:
    """Cornett 2010 (core.ac.uk/display/52363): 471 starts; 2011 (acemap.info/paper/89449781)."""
    assert [study.key for study in STUDIES] == ["older-deeper", "deck-as-deep"]
    assert all(isinstance(study, Study) and not isinstance(study, Limit) for study in STUDIES)
    assert "471" in STUDIES[0].found
