"""What the pages of the pool keep in the browser, when two tabs are open, when something is tapped
while the disk is read, and when a camera or a clock answers late."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from playwright.sync_api import Browser, Page

from tests.scripts import run, scripts_page

CLINIC = "0e6b9b56-7d6c-4c4c-9d57-5b7a52f6f0aa"

STORE = f"""
    const {{ Store, database }} = await load("clinics/offline-store.js");
    const clinic = "{CLINIC}";
    const disk = async () => {{
      const db = await database();
      return {{ items: await db.getAll("items"), record: await db.get("clinics", clinic),
        phone: await db.get("phone", "own") }};
    }};
"""


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    with scripts_page(browser) as page:
        yield page


def test_what_another_tab_noted_stays(page: Page) -> None:
    """The start log and consent at the pool are open; each notes its own, and neither takes away
    the other's: the list of names, the pass, the key of the phone."""
    told = run(
        page,
        STORE
        + """
        const [log, pool] = [await Store.open(clinic), await Store.open(clinic)];
        await log.notePhone({ key: "phone-1" });
        await pool.note({ day: "2026-12-01", pool: { pass: "p", entries: [{ number: 7 }] } });
        await pool.notePhone({ ahead: 12 });
        await log.note({ state: { log: [] } });
        const { record, phone } = await disk();
        return { record, phone };
        """,
    )
    assert told["phone"] == {"key": "phone-1", "ahead": 12}
    assert told["record"]["pool"] == {"pass": "p", "entries": [{"number": 7}]}
    assert told["record"]["state"] == {"log": []} and told["record"]["clinic"] == CLINIC


def test_a_note_of_another_tab_is_not_taken_for_sent(page: Page) -> None:
    """What was sent is settled here; the newer body that another tab put on the disk waits on."""
    told = run(
        page,
        STORE
        + """
        const one = await Store.open(clinic);
        await one.keep("line", "l1", { number: 7, note: "" }, 1);
        const sent = one.items.map((item) => ({ ...item }));
        const other = await Store.open(clinic);
        await other.keep("line", "l1", { number: 7, note: "late dive" }, 1);
        await one.settle(sent, "kept");
        return { items: (await disk()).items, here: one.items };
        """,
    )
    assert [(item["body"]["note"], item["state"]) for item in told["items"]] == [
        ("late dive", "waiting")
    ]
    assert told["here"] == told["items"]


def test_what_is_tapped_while_the_disk_is_read_anew_stays(page: Page) -> None:
    told = run(
        page,
        STORE
        + """
        const store = await Store.open(clinic);
        await store.keep("line", "l1", { number: 7 }, 1);
        const reading = store.reload();
        await Promise.resolve(); // its question is with the disk
        const kept = store.keep("line", "l2", { number: 8 }, 2);
        await reading;
        const seen = store.items.map((item) => item.id);
        await kept;
        await store.reload();
        return { seen, after: store.items.map((item) => item.id).sort() };
        """,
    )
    assert sorted(told["seen"]) == ["l1", "l2"] and told["after"] == ["l1", "l2"]


def test_what_is_forgotten_after_the_disk_was_read_anew_is_gone(page: Page) -> None:
    left = run(
        page,
        STORE
        + """
        const store = await Store.open(clinic);
        const drawn = await store.keep("line", "l1", { number: 7 }, 1);
        await store.reload(); // back on the page: other objects, the same line
        await store.remove([drawn]);
        return store.items.length;
        """,
    )
    assert left == 0


def test_a_list_that_loses_a_line_keeps_the_focus_in_the_others(page: Page) -> None:
    focused = run(
        page,
        """
        const { drawList } = await load("clinics/start-log-words.js");
        const list = document.body.appendChild(document.createElement("ul"));
        const make = () => {
          const item = document.createElement("li");
          item.append(document.createElement("button"));
          return item;
        };
        const draw = (...keys) => drawList(list, keys, (key) => key, make, (item, key) => {
          item.firstChild.textContent = key;
        });
        draw("a", "b", "c");
        list.children[1].firstChild.focus();
        draw("b", "c");
        return [document.activeElement.textContent, list.textContent];
        """,
    )
    assert focused == ["b", "bc"]


def test_called_back_is_whole_though_no_disk_takes_it(page: Page) -> None:
    """Of the undoing and the line that says why, neither is left out."""
    kinds = run(
        page,
        STORE
        + """
        const { Log } = await load("clinics/start-log-model.js");
        const store = await Store.open(clinic);
        const at = { run: "r", monotonic_ms: 1, wall_ms: 1, guess_ms: 1 };
        const clock = { at: () => at, nowMs: () => 1 };
        const log = new Log({ store, clock, lockedS: 20 });
        await log.tap({ entry: null, outcome: "away", at });
        log.refresh();
        store.write = () => Promise.reject(new Error("full"));
        const said = await log.calledBack(log.lines[0]).then(() => "kept", () => "not kept");
        await settle();
        return [said, ...store.items.map((item) => `${item.kind} ${item.body.outcome ?? ""}`)];
        """,
    )
    assert kinds == ["not kept", "line away", "undone ", "line false-start"]


CAMERA = """
    const { Reader } = await load("clinics/start-log-twin-sight.js");
    const given = [];
    const streams = [];
    const make = () => {
      const track = { on: true, stop() { this.on = false; } };
      const stream = { getTracks: () => [track] };
      streams.push(track);
      return stream;
    };
    Object.defineProperty(navigator, "mediaDevices", { value: {
      getUserMedia: () => new Promise((good) => given.push(() => good(make()))) } });
    const video = { srcObject: null, play: async () => {}, videoWidth: 0, videoHeight: 0 };
    const reader = new Reader(video, () => {});
    const running = () => streams.filter((track) => track.on).length;
"""


@pytest.mark.parametrize(
    ("acts", "running", "on"),
    [
        # shut before the camera was allowed: it does not stay on
        ("const a = reader.begin('user'); reader.stop(); given[0](); await a;", 0, False),
        # turned round twice: one camera runs, the last one
        (
            "const a = reader.begin('user'); const b = reader.begin('environment');"
            " given[1](); given[0](); await a; await b;",
            1,
            True,
        ),
        ("const a = reader.begin('user'); given[0](); await a;", 1, True),
    ],
    ids=["shut-meanwhile", "turned-meanwhile", "plain"],
)
def test_no_camera_stays_on_that_nobody_wants(
    page: Page, acts: str, running: int, on: bool
) -> None:
    told = run(page, CAMERA + acts + "await settle(); return [running(), reader.on];")
    assert told == [running, on]


def test_a_clock_that_was_forgotten_is_not_known_by_an_answer_from_before(page: Page) -> None:
    """A phone that sleeps amid its questions: what it learned before says nothing afterwards."""
    told = run(
        page,
        """
        const { ServerClock } = await load("clinics/slate-clock.js");
        const clock = new ServerClock("/time");
        const measured = clock.measure();
        await asked[0].answer({ now_ms: 1000 });
        clock.forget();
        for (let n = 0; n < 7 && asked.length; n += 1) await asked[0].answer({ now_ms: 1000 });
        await measured;
        const before = clock.isKnown();
        const again = clock.measure();
        for (let n = 0; n < 8; n += 1) await asked[0].answer({ now_ms: 1000 });
        await again;
        return [before, clock.isKnown()];
        """,
    )
    assert told == [False, True]


def test_a_tap_of_a_phone_that_slept_does_not_say_when(page: Page) -> None:
    """Its instant is that of its arriving, until the clock is measured anew."""
    told: list[Any] = run(
        page,
        """
        document.body.innerHTML = `<div data-try-out-clock="/clock"><form data-try-out-start>
          <input name="instant_ms"><button>Start</button></form></div>`;
        await load("clinics/try-out.js");
        const answerAll = async () => { await until(() => asked.length);
          while (asked.length) await asked[0].answer({ now_ms: 5000 }); };
        const tap = () => {
          const form = find("form");
          form.addEventListener("submit", (event) => event.preventDefault(), { once: true });
          find("button").disabled = false;
          form.requestSubmit();
          return form.elements.instant_ms.value !== "";
        };
        await answerAll();
        const known = tap();
        document.dispatchEvent(new Event("visibilitychange")); // it was away, and is back
        const slept = tap();
        await answerAll();
        const after = tap();
        const left = find("button").disabled;
        window.dispatchEvent(new Event("pageshow")); // back by the browser's button
        return [known, slept, after, left, find("button").disabled];
        """,
    )
    assert told == [True, False, True, True, False]
