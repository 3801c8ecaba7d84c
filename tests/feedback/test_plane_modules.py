"""The pure modules of metres in the picture, in the browser that runs them."""

from __future__ import annotations

from typing import Any

import pytest
from playwright.sync_api import Browser

from tests.browser import module_asker

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def ask(browser: Browser, live_server: Any) -> Any:
    page = browser.new_page()
    yield module_asker(page, live_server.url, "feedback/room/plane")
    page.close()


def test_pure_modules(ask: Any) -> None:
    planes = [
        {"key": "new", "spans": {"a": [40, 40]}},
        {"key": "old", "spans": {"a": [0, 99], "b": [5, 9]}},
    ]
    at = [("a", 39), ("a", 40), ("a", 41), ("b", 4), ("b", 5), ("c", 0), ("a", None)]
    found = ask(
        "holding",
        "arg[1].map(([view, frame]) => m.holdingAt(arg[0], view, frame)?.key ?? null)",
        [planes, at],
    )
    assert found == ["old", "new", "old", None, "old", None, None]
    # a label stands within the picture, also of a line that begins outside
    x, y = ask("holding", "m.labelAt(arg)", [[0.5, -2.0], [0.5, 1.4]])
    assert x == pytest.approx(0.5) and 0.04 <= y <= 0.96
    assert ask("holding", "m.labelAt(arg)", [[1.5, 0.2], [1.7, 0.9]]) is None
    typed = ["5", " 2,5 ", "-0.4", "\u22121", "", "five", "1e999", "1.2.3"]
    numbers = ask("holding", "arg.map(m.numberOf)", typed)
    assert numbers == [5, 2.5, -0.4, -1, None, None, None, None]
    told = ask(
        "set-marks",
        """(() => {
          let changes = 0;
          const set = m.makeSetMarks({ changed: () => { changes += 1; } });
          const one = set.add("a", 7, [0.1, 0.2], { what: "wall", cm: "2" });
          set.add("a", 9, [0.3, 0.4], { what: "tile", cm: "4" });
          set.tell(one.key, { along: "5" });
          set.move([[0.15, 0.25], [0.3, 0.4]]);
          const before = [set.place(), set.all().map(({ x, along }) => [x, along])];
          set.remove(one.key);
          set.drop();
          return [before, set.place(), set.all().length, changes];
        })()""",
    )
    assert told == [[{"view": "a", "frame": 7}, [[0.15, "5"], [0.3, ""]]], None, 0, 6]
