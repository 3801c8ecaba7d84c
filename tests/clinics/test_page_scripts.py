"""Pages of a clinic whose answers come late, out of order or not at all: no press is swallowed,
nothing is sent twice, and nothing that was chosen is lost."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, Route

from tests.scripts import run, scripts_page


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    with scripts_page(browser) as page:
        yield page


BOARD = """
    const still = (row, key) => `<a href="#" data-still data-where="${key}" data-pass=""
      data-count="3"
      data-poster="/p" ${key === "side" ? 'data-video="/v" data-frames="/frames"' : ""}>s</a>`;
    const row = (id, told = "", undo = "1") => `<tr id="row-${id}" data-row="${id}"
      data-name="${id}"
      data-number="1" data-making><td><input type="checkbox" data-choose value="${id}"></td>
      <td>${still(id, "side")}${still(id, "deck")}<i>${told}</i></td><td class="check-person">
      <button name="pass" value="${id}" data-act="pass">pass</button></td></tr>`;
    const board = (rows, undo) => `<div id="board-head">h</div><div id="board-undo"><button
      formaction="/undo" name="act" value="${undo}" data-act="undo">undo</button></div>
      <table><tbody>${rows}</tbody></table>`;
    document.body.innerHTML = `<form data-board action="/act" data-rows-at-once="9">
      <p data-board-chosen><b data-chosen-count data-one="1" data-many="{n}"></b>
        <button data-swap></button>
      <button type="reset" data-choose-none hidden></button></p><p data-board-told></p>
      <button type="button" data-help-open hidden></button><p data-board-anew></p>
      ${board(row("a") + row("b"), 1)}</form>
      <dialog data-help><input type="checkbox" data-keys-on></dialog>
      <dialog data-look><b data-look-name></b>
        <b data-look-where data-card-words="{s}" data-pass-words="{n}"></b>
      <video data-look-video></video><img data-look-still><p data-look-none></p>
        <p data-look-strip data-words="{n}"></p>
      <div data-look-others></div><div data-look-person></div>
      <button data-look-do="play" data-play="p" data-pause="p">p</button>
      <button data-look-do="back">b</button><button data-look-do="on">o</button></dialog>`;
    await load("clinics/check-board.js");
    const press = (id) => find(`#row-${id} [data-act="pass"]`).click();
    const told = (id) => find(`#row-${id} i`).textContent;
    const fields = (one) => Object.fromEntries(one.body);
    const acted = (rows, undo) => { // an answer to what was asked first, about these rows
      const one = asked.find(({ method }) => method === "POST");
      Object.defineProperty(one, "rows", { value: 1 });
      return one.answer(board(rows, undo));
    };
"""


def test_a_press_on_the_board_waits_for_the_one_before_it(page: Page) -> None:
    told = run(
        page,
        BOARD
        + """
        press("a"); press("a"); press("b");
        await settle();
        const first = asked.map(fields).map(({ pass }) => pass);
        await acted(row("a", "passed"), 2);
        await until(() => asked.length);
        const second = asked.map(fields).map(({ pass }) => pass);
        await acted(row("b", "passed"), 3);
        return [first, second, asked.length, told("a"), told("b")];
        """,
    )
    assert told == [["a"], ["b"], 0, "passed", "passed"]


def test_undo_on_the_board_is_of_what_was_done_last(page: Page) -> None:
    """Pressed before the act has its answer, it undoes that act, and not the one before it."""
    told = run(
        page,
        BOARD
        + """
        press("a");
        find('[data-act="undo"]').click();
        await settle();
        await acted(row("a", "passed"), 2);
        await until(() => asked.length);
        return [asked[0].path, fields(asked[0]).act];
        """,
    )
    assert told == ["/undo", "2"]


def test_an_older_answer_does_not_undo_what_the_board_shows(page: Page) -> None:
    """The rows that are being made were asked for before the press, and come after it."""
    page.clock.install()
    run(page, BOARD + "window.asked = asked; window.kit = { acted, press, told, row, board };")
    page.clock.fast_forward(5000)
    page.clock.resume()
    told = page.evaluate(
        """async () => {
          const { press, acted, told, row, board } = window.kit;
          const late = window.asked.find(({ method }) => method === "GET");
          press("a");
          await new Promise((go) => setTimeout(go, 20));
          await acted(row("a", "passed"), 2);
          await late.answer(board(row("a", "old") + row("b"), 1));
          return told("a");
        }"""
    )
    assert told == "passed"


def test_keys_that_are_held_down_press_once(page: Page) -> None:
    sent = run(
        page,
        BOARD
        + """
        const target = find("#row-a [data-still]");
        for (const repeat of [false, true, true])
          target.dispatchEvent(new KeyboardEvent("keydown", { key: "p", repeat, bubbles: true }));
        await settle();
        await acted(row("a", "passed"), 2);
        target.isConnected || find("#row-a [data-still]").focus();
        document.activeElement.dispatchEvent(
          new KeyboardEvent("keydown", { key: "p", repeat: true, bubbles: true }));
        await settle();
        return asked.length;
        """,
    )
    assert sent == 0


def test_the_other_pictures_of_a_swim_can_be_shown_after_its_row_came_anew(page: Page) -> None:
    told = run(
        page,
        BOARD
        + """
        find("#row-a [data-still]").click();
        press("a");
        await settle();
        await acted(row("a", "passed"), 2);
        find("[data-look-others]").lastChild.focus();
        find("[data-look-others]").lastChild.click();
        return [find("[data-look-where]").textContent,
          document.activeElement.getAttribute("aria-current")];
        """,
    )
    assert told == ["deck", "true"]


def test_a_frame_step_is_of_the_clip_that_is_shown(page: Page) -> None:
    """The list of frames comes after somebody went on to another clip."""
    told = run(
        page,
        """
        document.body.innerHTML = `<div id="look"><video data-look-video></video>
          <img data-look-still>
          <p data-look-none></p><p data-look-strip data-words=""></p><button data-look-do="play">
            </button>
          <button data-look-do="back"></button><button data-look-do="on"></button></div>`;
        const { startClip } = await load("clinics/check-board-clip.js");
        const clip = startClip(find("#look"));
        const video = find("video");
        let paused = 0;
        video.pause = () => { paused += 1; };
        clip.show({ video: "/a", frames: "/frames/a", count: "3" }, "a");
        clip.frame(1);
        clip.show({ video: "/b", frames: "/frames/b", count: "3" }, "b");
        const before = paused;
        await asked.find(({ path }) => path === "/frames/a").answer({ pts: [0, 9000],
          ticks_per_s: 90000 });
        await settle();
        return paused - before;
        """,
    )
    assert told == 0


KIT = """
    const list = (ticked) => `<div data-part="kit"><form data-kit-form action="/kit">
      <input name="csrfmiddlewaretoken" value="t">${["tape", "pole"].map((key) =>
        `<button class="tick" name="${ticked.includes(key) ? "off" : "on"}"
          value="${key}">x</button>`
      ).join("")}</form></div>`;
    document.body.innerHTML = list([]);
    await load("clinics/kit.js");
    const button = (key) => find(`button[value="${key}"]`);
    const names = () => ["tape", "pole"].map((key) => button(key).name);
"""


def test_ticks_go_out_one_after_the_other_and_each_once(page: Page) -> None:
    told = run(
        page,
        KIT
        + """
        button("tape").focus();
        button("tape").click(); button("tape").click(); button("pole").click();
        button("pole").focus();
        await settle();
        const first = asked.map(({ body }) => body[0]);
        await asked[0].answer(list(["tape"]));
        const focus = document.activeElement.value;
        await until(() => asked.length);
        const second = asked.map(({ body }) => body[0]);
        await asked[0].answer(list(["tape", "pole"]));
        return [first, second, names(), focus, document.activeElement.value];
        """,
    )
    assert told == [[["on", "tape"]], [["on", "pole"]], ["off", "off"], "pole", "pole"]


UPLOAD = """
    document.body.innerHTML = `<div data-upload-station="s1" data-known-url="/known"
      data-endpoint="/tus"
        data-words-waiting="waiting" data-words-again="again" data-words-known="known"
          data-words-here="here"
        data-words-refused="{why}" data-words-seconds="{n}"
        data-words-minutes="{n}" data-words-hours="{n}" data-words-sending="{percent}">
      <form><input name="csrfmiddlewaretoken" value="t"><input type="file" name="files" multiple>
      <select name="camera"><option>one</option><option>two</option></select></form>
      <p data-without-script></p><div data-drop></div><div data-sending hidden><ul data-queue></ul>
      <progress data-all></progress><p data-total></p><button data-pause></button></div></div>`;
    const sent = [];
    window.tus = { Upload: class { constructor(file, options) { Object.assign(this, { file,
      options }); }
      start() { sent.push(this); } } };
    await load("clinics/upload-stations.js");
    const file = (name) => new File(["12"], name, { lastModified: 5 });
    const input = find("[type=file]");
    const choose = (...files) => {
      const chosen = new DataTransfer();
      files.forEach((one) => chosen.items.add(one));
      input.files = chosen.files;
      input.dispatchEvent(new Event("change"));
    };
    const lines = () => [...document.querySelectorAll("li .state")].map((one) => one.textContent);
"""


def test_files_chosen_without_a_network_wait_for_it(page: Page) -> None:
    page.clock.install()
    run(page, UPLOAD + "Object.assign(window, { asked, choose, file, lines, sent, settle });")
    page.clock.resume()
    told = page.evaluate(
        """async () => {
          choose(file("a.mp4"));
          await settle();
          await asked[0].fail();
          return [lines(), asked.length];
        }"""
    )
    assert told == [["again"], 0]
    page.clock.fast_forward(4000)
    told = page.evaluate(
        """async () => {
          await settle(50);
          await asked[0].answer({ uploads: [] });
          return [sent.map(({ file }) => file.name), window.dispatchEvent(
            new Event("beforeunload", { cancelable: true }))];
        }"""
    )
    assert told == [["a.mp4"], False]


def test_a_file_that_is_chosen_twice_is_sent_once(page: Page) -> None:
    told = run(
        page,
        UPLOAD
        + """
        choose(file("a.mp4"));
        choose(file("a.mp4"), file("b.mp4"));
        await settle();
        for (const one of [...asked]) await one.answer({ uploads: [] });
        sent[0].options.onSuccess();
        await settle();
        return sent.map(({ file }) => file.name);
        """,
    )
    assert told == ["a.mp4", "b.mp4"]


def test_a_file_is_of_the_camera_that_was_chosen_with_it(page: Page) -> None:
    camera = run(
        page,
        UPLOAD
        + """
        choose(file("a.mp4"));
        find("select").value = "two"; // for what comes next
        await settle();
        await asked[0].answer({ uploads: [] });
        return sent[0].options.metadata.camera;
        """,
    )
    assert camera == "one"


HELD = {
    "progress": '<div data-progress="/p" data-busy="{busy}"><button></button><i>{words}</i></div>',
    "bring-in-states": """<div data-bring-in data-states-url="/s" data-busy="{busy}">
        <div data-station-state="1"><button></button><i>{words}</i></div></div>""",
    "try-out": """<div data-try-out-states="/s"><div data-busy="{busy}"><article data-part="1">
        <button></button><i>{words}</i></article></div></div>""",
}


@pytest.mark.parametrize("script", HELD)
def test_a_part_in_which_somebody_stands_follows_once_they_have_gone(
    page: Page, script: str
) -> None:
    """The last answer says that all is done; the part is not disturbed, and does not stand still
    for ever either."""
    told = run(
        page,
        """
        const html = (words, busy) => arg.markup.replace("{words}", words).replace("{busy}", busy);
        document.body.innerHTML = html("under way", "yes");
        await load(`clinics/${arg.script}.js`);
        find("button").focus();
        await until(() => asked.length);
        await asked[0].answer(html("done", "no"));
        const stays = find("i").textContent;
        find("button").blur();
        const again = await until(() => asked.length);
        await asked[0]?.answer(html("done", "no"));
        return [stays, again, find("i").textContent];
        """,
        {"markup": HELD[script], "script": script},
    )
    assert told == ["under way", True, "done"]


def test_an_answer_from_before_a_file_came_does_not_end_the_asking(page: Page) -> None:
    told = run(
        page,
        """
        const html = (words, busy) => `<div data-bring-in data-states-url="/s" data-busy="${busy}">
          <div data-station-state="1"><i>${words}</i></div></div>`;
        document.body.innerHTML = html("one", "yes");
        await load("clinics/bring-in-states.js");
        await until(() => asked.length);
        find("[data-bring-in]").dispatchEvent(new CustomEvent("bring-in:changed"));
        await asked[0].answer(html("one", "no"));
        const again = await until(() => asked.length);
        await asked[0]?.answer(html("two", "no"));
        return [again, find("i").textContent];
        """,
    )
    assert told == [True, "two"]


def test_a_frame_for_a_mask_is_the_one_at_which_it_was_pressed(page: Page) -> None:
    """The film runs on while the list of frames is on its way."""
    told = run(
        page,
        """
        document.body.innerHTML = `<article><video data-frames="/frames"></video>
          <details data-mask-details><form data-mask-clip><p data-mask-film></p>
          <input name="from"><button type="button" data-mask-end="from"></button>
          <button type="button" data-mask-take></button></form></details></article>`;
        await load("clinics/mask-clip.js");
        let at_s = 0.5;
        Object.defineProperty(find("video"), "currentTime", { get: () => at_s });
        find("[data-mask-end]").click();
        await settle();
        at_s = 2;
        find("[data-mask-end]").click();
        at_s = 3;
        await settle();
        const table = { pts: Array.from({ length: 40 }, (_, n) => n * 9000), ticks_per_s: 90000,
          first_frame: 100 };
        const [first, second] = [...asked];
        await second.answer(table);
        await first.answer(table);
        return find("input").value;
        """,
    )
    assert told == "120"


PLAN = """
    const { startSaving } = await load("clinics/plan-save.js");
    const states = [];
    const shown = [];
    const saving = startSaving({ urlOf: (key) => `/place/${key}`, token: "t",
      fresh: (text) => shown.push(text), state: (what) => states.push(what), busy: () => false });
    const stand = (key, x) => ({ key, x, y: 0, z: 0, bearing: null });
    const paths = () => asked.map(({ path }) => path);
"""


def test_undo_of_a_plan_waits_its_turn_and_pressed_twice_undoes_two(page: Page) -> None:
    told = run(
        page,
        PLAN
        + """
        saving.keep(stand("1", 5), true);
        saving.ask("/undo"); saving.ask("/undo");
        const order = [];
        for (let n = 0; n < 3; n += 1) {
          await until(() => asked.length);
          order.push(paths());
          await asked[0].answer(`answer ${n}`);
        }
        return [order, shown];
        """,
    )
    assert told == [[["/place/1"], ["/undo"], ["/undo"]], ["answer 2"]]


def test_all_that_was_moved_on_a_plan_goes_as_the_page_is_left(page: Page) -> None:
    told = run(
        page,
        PLAN
        + """
        saving.keep(stand("1", 5), true); // under way
        await settle();
        saving.keep(stand("2", 6), true);
        saving.keep(stand("3", 7), false);
        saving.leave();
        await settle();
        return paths().sort();
        """,
    )
    assert told == ["/place/1", "/place/2", "/place/3"]


def test_what_a_plan_could_not_save_is_said_when_it_is_left(page: Page) -> None:
    told = run(
        page,
        PLAN
        + """
        saving.keep(stand("1", 5), true);
        await settle();
        await asked[0].answer("", 403); // signed out
        const out = saving.unsaved();
        saving.keep(stand("1", 6), true);
        await until(() => asked.length);
        await asked[0].answer("fresh");
        return [out, saving.unsaved(), states.at(-1)];
        """,
    )
    assert told == [True, False, "saved"]


def test_figures_that_are_typed_stay_while_another_station_is_moved(page: Page) -> None:
    told = run(
        page,
        """
        document.body.innerHTML = `<div id="plan"></div>` + ["1", "2"].map((key) =>
          `<form data-place="${key}">${["x_m", "y_m", "z_m", "bearing_deg"].map((name) =>
            `<input name="${name}" value="1">`).join("")}</form>`).join("");
        const { makeMovable } = await load("clinics/plan-marks.js");
        const stands = new Map(["1", "2"].map((key) => [key, { key, kind: "deck", x: 2, y: 2, z: 2,
          bearing: 3, angle: 60, port: "air" }]));
        const forms = [...document.forms];
        forms[0].elements.x_m.value = "7.5"; // typed, and the next field is at hand
        const pool = { course: 25, lane: 2.5, deck: 2, width: 10 };
        makeMovable(find("#plan"), stands, pool, () => "");
        makeMovable(find("#plan"), stands, pool, () => "");
        return forms.map((form) => form.elements.x_m.value);
        """,
    )
    assert told == ["7.5", "2"]


def test_trouble_with_a_frame_that_was_left_is_not_told(page: Page) -> None:
    told = run(
        page,
        """
        document.body.innerHTML = `<div id="v" data-viewer="one" data-run="10" data-last="99"
          data-frame="0"
            data-frames-url="/frames" data-words-trouble="trouble" data-words-frame="{n}">
          <input type="range"><form data-go></form><div data-view><img data-picture>
            <p data-hidden></p></div>
          <p data-number></p><p data-clock></p><p data-trouble></p><div data-row></div></div>`;
        const { FrameViewer } = await load("clinics/frame-viewer.js");
        const viewer = new FrameViewer(find("#v"));
        const run = (first) => ({ frames: Array.from({ length: 10 }, (_, n) => ({ frame: first + n,
          picture: "data:,", clock: "c", media_s: n })) });
        viewer.go(5);
        await until(() => asked.length);
        viewer.go(25);
        await until(() => asked.length === 2);
        const [early, late] = [...asked];
        await late.answer(run(20));
        await early.answer({}, 500);
        const trouble = find("[data-trouble]").textContent;
        find("[data-row]").children[7].focus();
        find("[data-row]").children[7].click();
        await settle(20);
        return [trouble, document.activeElement.querySelector("img")?.alt];
        """,
    )
    assert told == ["", "27"]


DAY = """
    const kit = (words) => `<div id="day-kit" hx-get="/kit" hx-trigger="ask" hx-swap="outerHTML"
      hx-sync="this:drop"><i>${words}</i>
        <form method="post" action="/say" hx-post="/say" hx-target="#day-kit"
      hx-swap="outerHTML" class="day-buttons">
        <button id="rolling-1" name="state" value="rolling">r</button>
      <button id="stopped-1" name="state" value="stopped">s</button></form></div>`;
    window.kit = kit;
    document.body.innerHTML = `<main class="day-board"><p data-day-stale hidden>
      </p>${kit("old")}</main>`;
"""


def test_a_press_on_the_day_board_is_not_lost_while_it_asks_for_itself(page: Page) -> None:
    waiting: list[Route] = []
    page.route("**/kit", lambda route: waiting.append(route))
    page.route("**/say", lambda route: waiting.append(route))
    run(page, DAY)
    page.add_script_tag(url="/portal/vendor/htmx/htmx.min.js")
    page.add_script_tag(url="/clinics/day-board.js", type="module")

    def come(count: int) -> list[Any]:
        for _ in range(100):
            page.wait_for_timeout(20)
            if len(waiting) >= count:
                break
        return [(one.request.method, one.request.post_data) for one in waiting]

    def kit(words: str) -> str:
        return str(page.evaluate("(words) => window.kit(words)", words))

    page.evaluate("htmx.trigger('#day-kit', 'ask')")
    assert come(1) == [("GET", None)]
    page.click("#rolling-1")  # while it asks
    page.click("#stopped-1")  # and once more, while that is on its way
    assert come(2)[1] == ("POST", "state=rolling")
    page.wait_for_timeout(100)
    assert len(waiting) == 2
    waiting[1].fulfill(body=kit("rolling"), content_type="text/html")
    assert come(3)[2] == ("POST", "state=stopped")
    assert page.inner_text("#day-kit i") == "rolling"
    waiting[2].fulfill(body=kit("stopped"), content_type="text/html")
    page.wait_for_function("document.querySelector('#day-kit i').textContent === 'stopped'")
    assert len(waiting) == 3
