"""The start log's pure modules, asked in the browser: who is next, what the log is, what is sent,
how a clock's offset follows; compared with figures by hand and with the server's own arithmetic."""

from __future__ import annotations

import random
from collections.abc import Iterator
from typing import Any

import pytest
from playwright.sync_api import Browser, Page

from clinics.compute.phone_clock.exchange import Exchange, best_offset
from clinics.compute.phone_clock.twins import format_code, parse_code
from tests.browser import module_asker

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]
NOW = 1_000_000.0


@pytest.fixture(scope="module")
def blank(browser: Browser) -> Iterator[Page]:
    page = browser.new_page()
    yield page
    page.close()


@pytest.fixture
def ask(blank: Page, live_server: Any) -> Any:
    return module_asker(blank, live_server.url, "clinics")


# Groups of three: 1 to 3, 4 to 6.
ENTRIES = [
    {"number": n, "name": f"N{n}", "group": (n + 2) // 3, "agrees": True, "agrees_at_ms": 100}
    for n in range(1, 7)
]


def line(number: int, outcome: str = "away", at: float = 0.0, **more: Any) -> dict[str, Any]:
    said = {"client_id": f"line-{number}-{at:.0f}", "number": number, "outcome": outcome}
    return said | {"instant_ms": at, "undone": False, "told": False} | more


def wish(number: int, kind: str, at: float, **more: Any) -> dict[str, Any]:
    return {"number": number, "kind": kind, "at_ms": at, "from_ms": None, "gone": False} | more


@pytest.mark.parametrize(
    ("lines", "wishes", "next_up", "later"),
    [
        ([], [], "1 2 3 4 5 6", ""),
        ([line(1, at=10)], [], "2 3 4 5 6", ""),
        ([line(1, at=10, undone=True)], [], "1 2 3 4 5 6", ""),
        ([line(1, "not-filmed", 10), line(2, "no-show", 20)], [], "3 4 5 6", ""),
        ([line(1, "false-start", 10)], [], "1 2 3 4 5 6", ""),  # called back: goes now
        ([line(1, "skipped", 10)], [], "2 3 1 4 5 6", ""),  # at the end of the own group
        ([line(1, "skipped", 10), line(2, "skipped", 20)], [], "3 1 2 4 5 6", ""),
        ([line(3, "skipped", 9), line(1, at=10), line(2, at=20)], [], "3 4 5 6", ""),
        # the own group is through: at the end of the one that goes now
        (
            [line(3, "skipped", 9), line(1, at=10), line(2, at=20), line(4, at=30)],
            [],
            "5 6 3",
            "",
        ),
        ([], [wish(1, "late", 5, from_ms=NOW + 60_000)], "2 3 4 5 6", "1"),
        ([], [wish(1, "late", 5, from_ms=NOW - 1)], "2 3 1 4 5 6", ""),  # is there by now
        (
            [],
            [wish(1, "late", 5, from_ms=NOW + 9), wish(1, "late", 6, gone=True)],
            "1 2 3 4 5 6",
            "",
        ),
        # did not come, then said to come late
        ([line(1, "no-show", 4)], [wish(1, "late", 5, from_ms=NOW + 60_000)], "2 3 4 5 6", "1"),
        ([line(1, "no-show", 6)], [wish(1, "late", 5, from_ms=NOW + 60_000)], "2 3 4 5 6", ""),
        ([line(1, at=10)], [wish(1, "second-go", 11)], "2 3 1 4 5 6", ""),
        ([line(1, at=10), line(1, at=20)], [wish(1, "second-go", 11)], "2 3 4 5 6", ""),
        (
            [line(1, at=10)],
            [wish(1, "second-go", 11), wish(1, "second-go", 12, gone=True)],
            "2 3 4 5 6",
            "",
        ),
        ([line(n, at=n) for n in range(1, 7)], [], "", ""),
    ],
)
def test_next_is_who_stands_first_of_those_still_to_go(
    ask: Any, lines: list[Any], wishes: list[Any], next_up: str, later: str
) -> None:
    arg = {"entries": ENTRIES, "lines": lines, "wishes": wishes, "nowMs": NOW}
    told = ask("start-log-order", "m.upNext(arg)", arg)
    assert " ".join(str(one["entry"]["number"]) for one in told["next"]) == next_up
    assert " ".join(str(one["entry"]["number"]) for one in told["later"]) == later


@pytest.mark.parametrize(
    ("planned", "lines", "changed", "next_up"),
    [
        # as the server planned it, though it is not the running order
        ([2, 1, 4, 3, 5, 6], [], [], "2 1 4 3 5 6"),
        # a tap of this phone that the server has not told back yet
        ([2, 1, 4, 3, 5, 6], [line(2, at=10)], [2], "1 4 3 5 6"),
        ([2, 1, 4, 3, 5, 6], [line(2, "skipped", 10)], [2], "1 4 3 2 5 6"),
        # the second go of 1 stands in the plan already; its first is tapped here
        ([1, 2, 3, 1, 4], [line(1, at=10)], [1], "2 3 1 4"),
        # told back: 1 has gone once, and goes again at its place
        ([2, 3, 1, 4], [line(1, at=10, told=True)], [], "2 3 1 4"),
        # taken back here, while the server still has it as gone: goes now
        ([2, 3, 4, 5, 6], [line(1, at=10, told=True, undone=True)], [1], "1 2 3 4 5 6"),
    ],
)
def test_what_was_tapped_since_changes_the_plan_of_the_server(
    ask: Any, planned: list[int], lines: list[Any], changed: list[int], next_up: str
) -> None:
    arg = {"entries": ENTRIES, "nextUp": planned, "lines": lines, "nowMs": NOW}
    script = f"m.upNext({{...arg, changed: new Set({changed})}})"
    told = ask("start-log-order", script, arg)
    assert " ".join(str(one["entry"]["number"]) for one in told["next"]) == next_up


def item(kind: str, ident: str, state: str = "waiting", /, **body: Any) -> dict[str, Any]:
    said = {"kind": kind, "id": ident, "state": state, "at_ms": 500, "body": body}
    return said | {"clinic": "c", "errors": []}


def own(ident: str, state: str = "waiting", **more: Any) -> dict[str, Any]:
    body = {"number": 1, "outcome": "away", "note": "", "guess_ms": 50}
    return item("line", ident, state, **(body | more))


def test_the_log_is_what_the_server_has_and_what_this_phone_keeps(ask: Any) -> None:
    server = [
        line(1, at=100, client_id="a", note="", mine=False),
        line(2, at=300, client_id="b", note="old", mine=True),
        line(3, at=400, client_id="d", note="", mine=False),
    ]
    items = [
        own("b", number=2, guess_ms=290, note="new"),  # sent, and noted since
        own("c", number=4, guess_ms=200),  # not sent
        own("e", "refused", number=9),
        own("f", "kept", number=5, guess_ms=50),  # sent a moment ago
        own("gone", number=5, elsewhere=True, guess_ms=60),  # a note on a line that is no more
        item("undone", "d"),
    ]
    told = ask("start-log-merge", "m.mergedLines(...arg)", [server, items])
    assert [one["client_id"] for one in told] == ["f", "a", "c", "b", "d"]
    by_id = {one["client_id"]: one for one in told}
    assert by_id["b"]["instant_ms"] == 300 and by_id["b"]["note"] == "new"
    assert [by_id[one]["sent"] for one in "fabcd"] == [True, True, False, False, True]
    assert by_id["d"]["undone"] and not by_id["a"]["undone"]
    assert [by_id[one]["mine"] for one in "abc"] == [False, True, True]
    changed = ask("start-log-merge", "[...m.changedNumbers(...arg)].sort()", [server, items])
    assert changed == [3, 4, 5]


def test_an_answer_given_on_this_phone_counts_before_it_is_sent(ask: Any) -> None:
    yes = item(
        "answer", "y", number="1", **{"version-film-and-review": "1", "film-and-review": "on"}
    )
    no = item("answer", "n", number="1", **{"version-film-and-review": "1"})
    other = item("answer", "o", number="1", **{"version-publish": "1"})
    agreed, not_agreed = {**ENTRIES[0]}, {**ENTRIES[0], "agrees": False}
    ask_sign = "arg.map(([entry, answers]) => m.consentOf(entry, answers))"
    told = ask(
        "start-log-merge",
        ask_sign,
        [
            [not_agreed, []],
            [not_agreed, [yes]],
            [agreed, [no]],
            [agreed, [other]],
            [{**not_agreed, "agrees_at_ms": 900}, [yes]],  # the server has heard more since
            [not_agreed, [{**yes, "state": "refused"}]],
        ],
    )
    assert [one["agrees"] for one in told] == [False, True, False, True, False, False]
    assert [one["here"] for one in told] == [False, True, True, False, False, False]
    cases = [[True, True], [True, False], [False, True]]
    script = "arg.map((one) => m.awayOutcome(...one))"
    assert ask("start-log-merge", script, cases) == ["away", "not-filmed", "not-filmed"]


def test_what_is_sent_at_once_and_what_an_answer_says_of_it(ask: Any) -> None:
    items = [
        own("line-1"),
        own("line-2", "kept"),
        item("undone", "line-1"),
        item("wish", "wish-1", number=3, kind="late"),
        item("exchange", "x-1", run="r", sent_ms=1),
        *(item("station-word", f"word-{n}", station="s", state="rolling") for n in range(402)),
    ]
    answer = {
        "kept": ["line-1", "word-0"],
        "refused": [{"list": "undone", "client_id": "line-1", "errors": ["It has clips."]}],
    }
    script = """(() => {
      const {body, sent} = m.batchOf(arg.items, {key: "k", name: ""});
      const told = m.answered(sent, arg.answer);
      return {body, kept: told.kept.map((i) => `${i.kind} ${i.id}`), refused: told.refused,
              done: told.done.length, codes: [200, 401, 403, 404, 422, 429, 500].map(m.meaning)};
    })()"""
    told = ask("start-log-batch", script, {"items": items, "answer": answer})
    body = told["body"]
    assert [one["client_id"] for one in body["lines"]] == ["line-1"]
    assert body["undone"] == ["line-1"] and body["exchanges"] == [{"run": "r", "sent_ms": 1}]
    assert len(body["station_words"]) == 400 and body["phone"]["unsent"] == 2
    assert told["kept"] == ["line line-1", "station-word word-0"] and told["done"] == 1
    assert [one["item"]["kind"] for one in told["refused"]] == ["undone"]
    assert told["codes"] == [
        "ok",
        "signed-out",
        "signed-out",
        "not-yours",
        "refused",
        "server",
        "server",
    ]


def burst(seed: int, offset_ms: float, count: int) -> list[dict[str, float]]:
    draw = random.Random(seed)  # noqa: S311
    told = []
    for n in range(count):
        sent = 1000.0 + 70 * n
        there, back = 12 + draw.expovariate(1 / 15), 9 + draw.expovariate(1 / 15)
        at = sent + offset_ms + there
        told.append(
            {
                "sent_ms": sent,
                "server_ms": at,
                "answered_ms": at + 2,
                "came_ms": sent + there + 2 + back,
                "wall_ms": 1.7e12 + sent,
            }
        )
    return told


@pytest.mark.parametrize("count", [1, 5, 6, 20])
def test_the_page_and_the_server_get_the_same_offset(ask: Any, count: int) -> None:
    bursts = [burst(seed, 1.7e12 + 431.5, count) for seed in range(10)]
    told = ask("start-log-offset", "arg.map(m.bestOffset)", bursts)
    for one, exchanges in zip(told, bursts, strict=True):
        ours = best_offset([Exchange(**exchange) for exchange in exchanges])
        assert ours is not None
        assert one["offset_ms"] == pytest.approx(ours.offset_ms, abs=0.01)
        assert one["u_ms"] == pytest.approx(ours.u_ms, abs=0.01)


def test_a_clock_that_slept_is_not_believed(ask: Any) -> None:
    """Offset of this run 5000 ms; the wall clock is 200 ms behind the server."""
    measured = {"offset_ms": 5000.0, "u_ms": 4.0, "at_ms": 1000.0, "wall_ms": 5800.0}
    ahead = {"ahead_ms": 200.0, "u_ms": 4.0, "at_wall_ms": 5800.0}
    script = "arg.map((one) => m.guessAt(...one))"
    told = ask(
        "start-log-offset",
        script,
        [
            [2000, 6800, measured, None],
            [2000, 66_800, measured, None],  # a minute's sleep: the time of day has to do
            [50, 9000, None, ahead],  # another run, not measured
            [50, 9000, None, None],
        ],
    )
    assert [one["how"] for one in told] == ["measured", "bridged", "bridged", "unknown"]
    assert [one["guess_ms"] for one in told] == [7000, 67_000, 9200, 9000]
    words = ask(
        "start-log-offset",
        "arg.map((one) => m.accuracyWords({how: one[0], expanded_ms: one[1]}))",
        [
            ["measured", 40],
            ["measured", 400],
            ["measured", 900],
            ["measured", 2100],
            ["bridged", 9],
        ],
    )
    assert words == [["tenth", 0], ["half", 0], ["second", 0], ["seconds", 3], ["bridged", 0]]


def test_codes_of_two_phones_clocks_are_those_of_the_server(ask: Any) -> None:
    text = ask("start-log-twin-code", "m.formatCode(...arg)", ["8f14-e45f", 73512.26])
    assert text == format_code("8f14-e45f", 73512.26)
    assert parse_code(text) == ("8f14-e45f", 73512.3)
    read = ask(
        "start-log-twin-code", "arg.map(m.readCode)", [text, "https://a.example", f"{text}x"]
    )
    assert read == [{"run": "8f14-e45f", "ms": 73512.3}, None, None]


def test_names_are_kept_for_two_weeks_after_the_day(ask: Any) -> None:
    script = """arg.map((day) => m.isOver("2026-11-14", Date.parse(`${day}T12:00:00Z`)))"""
    days = ["2026-11-14", "2026-11-28", "2026-11-30", "2027-02-01"]
    assert ask("offline-forget", script, days) == [False, False, True, True]
