"""The room's pure modules, asked in the browser and compared with figures by hand."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from playwright.sync_api import Browser, Page

from tests.browser import module_asker

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]

# A turn is filmed from the start side (0 to 6 s), under water (8 to 20), at the window (18 to
# 30) and by the deck camera (-1 to 40), which walks along.
VIEWS = [
    {"key": "start", "kind": "start-side", "from_s": -1, "to_s": 6, "seen": (0, 5)},
    {"key": "under", "kind": "underwater", "from_s": 8, "to_s": 20, "seen": (10, 19)},
    {"key": "window", "kind": "turn-window", "from_s": 18, "to_s": 30, "seen": (18.5, 29)},
    {"key": "deck", "kind": "deck", "from_s": -1, "to_s": 40, "seen": (0, 40)},
]


@pytest.fixture(scope="module")
def blank(browser: Browser) -> Iterator[Page]:
    page = browser.new_page()
    yield page
    page.close()


@pytest.fixture
def ask(blank: Page, live_server: Any) -> Any:
    return module_asker(blank, live_server.url, "feedback/room")


def views(*names: str) -> list[dict[str, Any]]:
    return [
        {**view, "seen_from_s": view["seen"][0], "seen_to_s": view["seen"][1]}
        for view in VIEWS
        if not names or view["key"] in names
    ]


@pytest.mark.parametrize(
    ("at_s", "current", "key"),
    [
        (2.0, None, "start"),
        (12.0, "start", "under"),
        (18.7, "under", "under"),  # both have the swimmer: it stays
        (18.7, "start", "under"),
        (19.5, "under", "window"),
        (7.0, "start", "deck"),  # only the deck camera has the swimmer
        (35.0, "window", "deck"),
        (99.0, "window", "deck"),  # nobody filmed: the nearest in time
        (99.0, "start", "deck"),
    ],
)
def test_the_view_that_has_the_swimmer_is_found(
    ask: Any, at_s: float, current: str | None, key: str
) -> None:
    assert ask("follow", "m.viewAt(...arg)", [views(), at_s, current]) == key


@pytest.mark.parametrize(
    ("at_s", "how", "shown"),
    [
        (12.0, {"layout": 2, "follow": True, "main": "start"}, ["under", "deck"]),
        (
            18.7,
            {"layout": 4, "follow": True, "main": "under"},
            ["under", "deck", "window", "start"],
        ),
        (12.0, {"layout": 1, "follow": True, "main": "start"}, ["under"]),
        # what is kept stays, and the swimmer is followed beside it
        (
            12.0,
            {"layout": 2, "follow": True, "main": "start", "kept": ["start"]},
            ["start", "under"],
        ),
        (
            12.0,
            {"layout": 2, "follow": True, "main": "under", "kept": ["window"]},
            ["under", "window"],
        ),
        (12.0, {"layout": 1, "follow": True, "main": "deck", "kept": ["window"]}, ["window"]),
        # not followed: nothing changes by itself
        (
            12.0,
            {"layout": 2, "follow": False, "main": "start", "before": ["start", "window"]},
            ["start", "window"],
        ),
        (
            12.0,
            {"layout": 4, "follow": False, "main": "start"},
            ["start", "deck", "under", "window"],
        ),
    ],
)
def test_the_stage_holds_the_swimmer_and_who_walks_along(
    ask: Any, at_s: float, how: dict[str, Any], shown: list[str]
) -> None:
    told = ask("follow", "m.onStage(...arg)", [views(), at_s, how])
    assert told == {"main": shown[0], "shown": shown}


def test_going_on_passes_over_what_nobody_filmed(ask: Any) -> None:
    without = views("start", "under")
    assert ask("follow", "m.goesOn(...arg)", [without, 5.99]) == {"key": "under", "at_s": 8}
    assert ask("follow", "m.goesOn(...arg)", [views(), 6.2]) == {"key": "deck", "at_s": 6.2}
    assert ask("follow", "m.goesOn(...arg)", [views(), 39.97]) is None


@pytest.mark.parametrize(
    ("at_s", "shown", "key"),
    [
        (2.0, ["start", "deck"], "under"),
        (12.0, ["under", "deck"], "window"),
        (12.0, ["under"], "deck"),
        (32.0, ["window", "deck"], None),  # the start side and under water are over
        (3.0, ["start", "under", "window", "deck"], None),
    ],
)
def test_whose_film_is_wanted_next(ask: Any, at_s: float, shown: list[str], key: Any) -> None:
    assert ask("follow", "m.comesNext(...arg)", [views(), at_s, shown]) == key


def test_the_next_view_is_one_of_the_same_instant(ask: Any) -> None:
    turn = "[-1, 1].map(by => m.neighbour(...arg, by))"
    assert ask("follow", turn, [views(), 18.7, "under"]) == ["deck", "window"]
    assert ask("follow", turn, [views("start", "under"), 2.0, "start"]) == ["under", "under"]


def test_a_loop_is_set_by_its_ends_and_never_turned_around(ask: Any) -> None:
    told = ask(
        "loop",
        """[
          m.beginAt(null, 3), m.endAt(m.beginAt(null, 3), 5), m.endAt({ from_s: 6, to_s: null }, 5),
          m.beginAt({ from_s: 1, to_s: 4 }, 4.5), m.whole({ from_s: 1, to_s: null }),
          m.whole({ from_s: 1, to_s: 2 }), m.endAt(m.beginAt(null, 3), 3.02),
        ]""",
    )
    assert told == [
        {"from_s": 3, "to_s": None},
        {"from_s": 3, "to_s": 5},
        {"from_s": None, "to_s": 5},
        {"from_s": 4.5, "to_s": None},
        None,
        {"from_s": 1, "to_s": 2},
        {"from_s": None, "to_s": 3.02},  # shorter than two slow frames
    ]


def test_a_jog_steps_whole_frames_and_loses_nothing(ask: Any) -> None:
    told = ask("jog", "(j => [4, 4, 4, -3, -30].map(px => j.add(px)))(m.makeJog(10))")
    assert told == [0, 0, 1, 0, -3]
    wheel = "[[0, 100, 0], [0, 3, 1], [-60, 20, 0]].map(([deltaX, deltaY, deltaMode]) => "
    assert ask("jog", wheel + "m.wheelPx({ deltaX, deltaY, deltaMode }))") == [100, 99, -60]


def test_what_is_under_the_finger_stays_there_and_the_window_stays_full(ask: Any) -> None:
    size = [200, 100]
    once = ask("zoom", "m.zoomAt(m.NONE, 2, [50, 50], arg)", size)
    assert once == {"scale": 2, "x": -50, "y": -50}
    # the point under [50, 50] was 50, 50 of the picture and still is
    assert (50 - once["x"]) / 2 == 50
    assert ask("zoom", "m.pan(...arg)", [once, [900, -900], size]) == {
        "scale": 2,
        "x": 0,
        "y": -100,
    }
    back = ask("zoom", "m.zoomAt(...arg)", [once, 0.1, [10, 10], size])
    assert back == {"scale": 1, "x": 0, "y": 0}
    assert ask("zoom", "m.zoomAt(m.NONE, 99, [0, 0], arg).scale", size) == 8


@pytest.mark.parametrize(
    ("how", "saves"),
    [
        ({"asked": "on", "narrow": False}, True),
        ({"asked": "off", "narrow": True, "connection": {"saveData": True}}, False),
        ({"asked": None, "narrow": True}, True),
        ({"asked": None, "narrow": False, "connection": {"saveData": True}}, True),
        ({"asked": None, "narrow": False, "connection": {"effectiveType": "3g"}}, True),
        ({"asked": None, "narrow": False, "connection": {"effectiveType": "4g"}}, False),
        ({"asked": None, "narrow": False}, False),
    ],
)
def test_data_is_saved_where_it_costs_unless_somebody_says_otherwise(
    ask: Any, how: dict[str, Any], saves: bool
) -> None:
    assert ask("saving", "m.savesData(arg)", how) is saves


def test_sizes_are_said_in_the_page_s_language(ask: Any) -> None:
    view = {"renditions": [{"height": 720, "size_bytes": 9}, {"height": 360, "size_bytes": 4}]}
    assert ask("saving", "[m.smallestBytes(arg), m.largestBytes(arg)]", view) == [4, 9]
    words = "[m.sizeWords(1434567, 'en'), m.sizeWords(31e6, 'en'), m.sizeWords(1434567, 'fr')]"
    one, large, french = ask("saving", words)
    assert (one, large) == ("1.4 MB", "31 MB")
    assert french.replace("\u202f", " ").replace("\u00a0", " ") == "1,4 Mo"


def test_clocks_stands_and_renditions(ask: Any) -> None:
    rate = 1.0005
    told = ask(
        "clock",
        """(one => ({
          times: [0, 1, 2].map((n) => m.swimS(one, n)),
          back: [0, 1, 2].map((n) => m.frameAt(one, m.swimS(one, n))),
          before: [1, 2].map((n) => m.frameAt(one, m.swimS(one, n) - 0.0001)),
          beyond: [m.frameAt(one, -99), m.frameAt(one, 99)],
          middles: [0, 1, 2].map((n) => m.middleMediaS(one, n)),
          shown: [0, 3000 / 90000, 0.0999999, 0.1].map((s) => m.shownFrame(one, s)),
        }))(m.makeClock(arg))""",
        {"zero_s": -20, "rate": rate, "first_ticks": 90_000, "ticks": [0, 3000, 9000]},
    )
    assert told["times"] == pytest.approx([-20 + s * rate for s in (1, 31 / 30, 1.1)], abs=1e-9)
    assert told["back"] == [0, 1, 2]
    assert told["before"] == [0, 1]
    assert told["beyond"] == [0, 2]
    assert told["middles"] == pytest.approx([1500 / 90000, 6000 / 90000, 12000 / 90000])
    assert told["shown"] == [0, 1, 2, 2]
    stands = "arg.map(centres => m.placeStands(centres, 100, 10, 400))"
    assert ask("stands", stands, [[10, 60, 380], [10, 20, 30, 40]]) == [[0, 110, 300], None]
    pick = "[200, 360, 361, 2000].map(px => m.pickRendition(arg, px).height)"
    heights = [{"height": 720}, {"height": 360}]
    assert ask("renditions", pick, heights) == [360, 360, 720, 720]
