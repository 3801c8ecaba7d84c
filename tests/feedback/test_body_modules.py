"""The pure part of setting points, in the browser that runs it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import pytest
from playwright.sync_api import Browser

from feedback.compute.measuring.body.points import LINES, For, needed
from feedback.compute.measuring.body.tables import Side
from tests.browser import module_asker

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]

ORDER = needed(For.ARM, Side.LEFT)
HIP, SHOULDER, ELBOW, *_more = ORDER


@pytest.fixture
def ask(browser: Browser, live_server: Any) -> Iterator[Callable[..., Any]]:
    page = browser.new_page()
    yield module_asker(page, live_server.url, "feedback/room/body")
    page.close()


def test_the_next_point_is_the_first_that_is_neither_set_nor_passed_over(ask: Any) -> None:
    script = "m.nextOf(arg[0], arg[1], new Set(arg[2]))"
    for points, passed, wanted in (
        ({}, [], HIP),
        ({HIP: [0, 0]}, [], SHOULDER),
        ({SHOULDER: [0, 0]}, [], HIP),
        ({HIP: [0, 0]}, [SHOULDER], ELBOW),
        (dict.fromkeys(ORDER[1:], [0, 0]), [HIP], None),
    ):
        assert ask("order", script, [ORDER, points, passed]) == wanted


def test_lines_stand_where_both_ends_do(ask: Any) -> None:
    points = {HIP: [0.1, 0.2], SHOULDER: [0.3, 0.4], ELBOW: [0.5, 0.6], "level-1": [0, 0]}
    told = ask("order", "m.linesOf(arg[0], arg[1])", [LINES, points])
    assert told == [[[0.3, 0.4], [0.5, 0.6]], [[0.3, 0.4], [0.1, 0.2]]]


def test_the_last_thing_done_is_taken_back_or_the_last_point_that_stands(ask: Any) -> None:
    script = "m.lastOf(arg[0], arg[1], arg[2])"
    done = [{"name": HIP, "passed": False}, {"name": SHOULDER, "passed": True}]
    assert ask("order", script, [done, ORDER, {HIP: [0, 0]}]) == done[-1]
    known = ask("order", script, [[], ORDER, {SHOULDER: [0, 0], HIP: [0, 0]}])
    assert known == {"name": SHOULDER, "passed": False}
    other = ask("order", script, [[], ORDER, {"vertex": [0, 0]}])
    assert other == {"name": "vertex", "passed": False}
    assert ask("order", script, [[], ORDER, {}]) is None


def test_a_way_shows_from_its_first_frame_to_its_last(ask: Any) -> None:
    way = {"pieces": [[[10, 0.1, 0.1], [20, 0.2, 0.2]], [[30, 0.3, 0.3]]]}
    script = "m.piecesAt(arg[0], arg[1]).length"
    assert [ask("order", script, [way, n]) for n in (9, 10, 15, 30, 31)] == [0, 2, 2, 2, 0]
