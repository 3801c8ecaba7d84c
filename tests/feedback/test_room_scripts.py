"""Parts of the watch room whose answers come late, out of order or not at all: nothing is lost,
nothing is sent twice, and nothing lands on another frame than the one that was meant."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page

from tests.scripts import run, scripts_page

PLAIN = "http://scripts.test"  # no secure address: a browser gives less there


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    with scripts_page(browser) as page:
        yield page


DRAWING = """
    const { createStore } = await load("feedback/room/drawing/store.js");
    const { createSaving } = await load("feedback/room/drawing/saving.js");
    const part = { querySelector: () => ({ value: "t" }), dataset: { draw: "/draw",
      notSaved: "no" } };
    const store = createStore([], { saving: createSaving(part, []), words: () => "level",
      onChange() {}, onTrouble() {} });
    const draw = () => store.draw({ kind: "level", view: "v", frame: 3, points: [[0.5, 0.2]],
      width_px: 640, height_px: 360 });
"""


def test_drawing_works_where_the_address_is_not_secure(browser: Browser) -> None:
    with scripts_page(browser, PLAIN) as page:
        told = run(
            page,
            DRAWING + "draw(); return [typeof crypto.randomUUID, store.all()[0].key];",
        )
    assert told[0] == "undefined"
    assert len(told[1].split("-")) == 5 and len(told[1]) == 36


def test_a_drawing_that_is_on_its_way_is_not_saved_yet(page: Page) -> None:
    told = run(
        page,
        DRAWING
        + """
        const drawn = draw();
        await until(() => asked.length);
        const before = store.unsaved();
        const { key } = store.all()[0];
        await asked[0].answer({ drawing: { ...store.all()[0], move: "/move", rub_out: "/away" } });
        await drawn;
        return [before, store.unsaved(), store.all()[0].key === key];
        """,
    )
    assert told == [True, False, True]


def test_a_drawing_that_is_rubbed_out_while_a_hand_holds_it_is_gone(page: Page) -> None:
    left = run(
        page,
        DRAWING
        + """
        draw();
        const { key, points } = store.all()[0];
        store.undo();
        await settle();
        store.preview(key, [[0.5, 0.6]]);
        await store.move(key, [[0.5, 0.6]], points);
        return store.all().length;
        """,
    )
    assert left == 0


BODY = """
    const { createStore } = await load("feedback/room/body/store.js");
    const part = { querySelector: () => ({ value: "t" }), dataset: { notSent: "not sent" } };
    let trouble = "";
    let listed = [];
    const store = createStore(part, { bodies: [], ways: [] }, { url: "/body", table: () => "t",
      onChange() {}, onAnswer: ({ bodies }) => { listed = bodies.map(({ frame }) => frame); },
      onTrouble: (words) => { trouble = words; } });
    const server = new Map();
    // the server takes what it was asked for, and tells all that it has
    const take = async () => {
      await until(() => asked.length);
      const { frame, points, clip } = Object.fromEntries(asked[0].body);
      server.set(frame, { key: `k${frame}`, mine: true, view: clip, frame: Number(frame),
        points: JSON.parse(points), tells: [] });
      await asked[0].answer({ bodies: [...server.values()], ways: [], html: "" });
    };
    const lose = async () => { await until(() => asked.length); await asked[0].fail(); };
    const frames = () => store.bodies().map(({ frame }) => frame).sort();
"""


def test_points_that_did_not_get_there_stay_and_go_with_the_next_that_do(page: Page) -> None:
    told = run(
        page,
        BODY
        + """
        store.save("v", 10, { hip: [0.1, 0.1] });
        await lose();
        const lost = [trouble, store.unsaved(), frames()];
        store.save("v", 11, { hip: [0.2, 0.2] });
        await take();
        const still = [trouble, store.unsaved(), frames()];
        await take(); // of itself
        return { lost, still, now: [trouble, store.unsaved(), frames()],
          there: [...server.keys()].sort() };
        """,
    )
    assert told["lost"] == ["not sent", True, [10]]
    assert told["still"][1:] == [True, [10, 11]]
    assert told["now"] == ["", False, [10, 11]] and told["there"] == ["10", "11"]


def test_points_of_two_frames_on_their_way_are_both_kept(page: Page) -> None:
    """The first is lost, the second is taken: neither goes from the page without a word."""
    told = run(
        page,
        BODY
        + """
        store.save("v", 10, { hip: [0.1, 0.1] });
        store.save("v", 11, { hip: [0.2, 0.2] });
        const under = store.unsaved();
        await lose();
        await take();
        await take();
        return [under, trouble, store.unsaved(), frames()];
        """,
    )
    assert told == [True, "", False, [10, 11]]


def test_points_that_are_lost_do_not_keep_an_answer_from_the_list(page: Page) -> None:
    told = run(
        page,
        BODY
        + """
        store.save("v", 10, { hip: [0.1, 0.1] });
        store.save("v", 11, { hip: [0.2, 0.2] });
        await take(); // a newer one is on its way
        await lose();
        return [listed, frames(), trouble, store.unsaved()];
        """,
    )
    assert told == [[10], [10, 11], "not sent", True]


def test_points_that_are_refused_leave_the_others(page: Page) -> None:
    told = run(
        page,
        BODY
        + """
        store.save("v", 10, { hip: [0.1, 0.1] });
        store.save("v", 11, { hip: [0.2, 0.2] });
        await until(() => asked.length);
        await asked[0].answer({ errors: ["not here"] }, 400);
        const refused = [trouble, frames()];
        await take();
        return [refused, store.unsaved(), frames()];
        """,
    )
    assert told == [["not here", [11]], False, [11]]


# A room with one view, whose frame on screen a test sets by hand.
ROOM = """
    document.body.innerHTML = `<div id="room"><div data-lane-strip></div>
      <figure data-view="a"><div><svg viewBox="0 0 640 360"></svg></div></figure>
      <figure data-view="b"><div><svg viewBox="0 0 640 360"></svg></div></figure></div>`;
    const element = find("#room");
    const views = ["a", "b"].map((key) => {
      const figure = find(`[data-view="${key}"]`);
      return { key, name: `View ${key}`, kind: key === "a" ? "underwater" : "turn-window", figure,
        picture: figure.firstElementChild, overlay: figure.querySelector("svg"), frame_count: 100,
        from_s: 0, to_s: 40, seen_from_s: 0, seen_to_s: 40, zero_s: 0, rate: 1, first_ticks: 0,
        renditions: [{ frames: `/frames/${key}`, height: 360 }] };
    });
    let now = { main: "a", frame: 5, at_s: 1, frames: { a: 5, b: 5 } };
    const jumps = [];
    const room = {
      element, views, data: {}, addKeys() {}, view: (key) => views.find((one) => one.key === key),
      now: () => now, shown: () => ["a"], pause: async () => {}, setTool() {}, trouble() {},
      safely: (work) => work(),
      jump: (where) => new Promise((done) => jumps.push({ where, done })),
      show(key) { this.brought = key; },
    };
    const onScreen = (more) => {
      now = { ...now, ...more };
      element.dispatchEvent(new CustomEvent("room:frame", { detail: now }));
    };
"""

PASS = (
    ROOM
    + """
    document.body.insertAdjacentHTML("beforeend", `<section id="part"><details data-mark-box>
      </details>
      <div data-pass data-expected="{n}" data-marked="{n}!" data-done="done">
      <p data-pass-begin><button data-pass-name="quick">q</button></p>
      <div data-pass-panel tabindex="-1" hidden><b data-pass-what></b><i data-pass-where></i>
      <button data-pass-do="mark">m</button><button data-pass-do="over">o</button></div></div>
        </section>`);
    const { startPass } = await load("feedback/room/measures-pass.js");
    const step = (kind, at_s) => ({ kinds: [kind], label: `${kind} ${at_s}`, done: false, at_s });
    const [late, last] = [step("breakout", 15), step("head", 20)];
    room.data.guides = { quick: [step("head", 5), step("head", 10), late, last] };
    const placed = [];
    startPass(room, find("#part"), (kind) => new Promise((done) => placed.push({ kind, done })),
      () => true);
    const press = (what) => find(`[data-pass-do="${what}"]`).click();
    const marked = async (kind) => { // an answer of the server
      element.dispatchEvent(new CustomEvent("room:marks", { detail: { marks: [], kind } }));
      placed.shift()?.done();
      await settle();
    };
    const what = () => find("[data-pass-what]").textContent;
    find("[data-pass-name]").click();
"""
)


def test_a_pass_hears_of_marks_that_say_nothing(page: Page) -> None:
    what = run(
        page,
        PASS + 'element.dispatchEvent(new CustomEvent("room:marks")); return what();',
    )
    assert what == "head 5"


def test_a_pass_goes_on_by_one_step_for_a_mark_that_was_pressed_twice(page: Page) -> None:
    what = run(
        page,
        PASS + "press('mark'); press('mark'); await marked('head'); await marked('head');"
        " return what();",
    )
    assert what == "head 10"


def test_a_pass_stays_where_somebody_went_before_the_answer_came(page: Page) -> None:
    what = run(page, PASS + "press('mark'); press('over'); await marked('head'); return what();")
    assert what == "head 10"


def test_a_pass_brings_the_picture_of_the_step_at_hand_alone(page: Page) -> None:
    """The jump of a step that was left is over late: its picture is not brought any more."""
    brought = run(
        page,
        PASS
        + """
        now = { ...now, main: "b" };
        press("over"); press("over"); press("over"); // past the breakout, which is seen best in a
        for (const { done } of jumps) done();
        await settle();
        return [what(), room.brought ?? null];
        """,
    )
    assert brought == ["head 20", None]


MARKS = (
    ROOM
    + """
    document.body.insertAdjacentHTML("beforeend", `<section data-marks data-time="{at}"
        data-not-sent="not sent" data-taken-away="taken away" data-placed="{label}"
          data-ask-place="{label}?">
      <input name="csrfmiddlewaretoken" value="t">
      <details data-mark-box open><summary>m</summary>
        <button data-mark-keys>keys</button>
          <button data-mark-place aria-pressed="false">place</button>
        <div data-pass><p data-pass-begin hidden></p><div data-pass-panel hidden></div></div>
        <form data-mark-form action="/mark">
          <button name="kind" value="breakout" data-label="breakout">b</button></form>
      </details>
      <div data-mark-ask tabindex="-1" hidden><span data-mark-ask-what></span>
        <button data-mark-ask-none>no</button></div>
      <p data-mark-error hidden></p><p data-mark-said></p>
      <details data-mark-list open><summary>Marks <b data-mark-count></b></summary><ol></ol>
        </details>
      <template data-mark-item><li><a class="jump-to"></a><span class="jump-to"></span>
        <b data-what></b>
        <i data-where></i><i class="state"></i><i data-who></i><i data-in-picture></i>
        <button data-place-after data-label="{label}">p</button>
        <form><button data-label="{label}">away</button></form></li></template></section>`);
    const mark = (key, more = {}) => ({ key, view: "a", frame: 5, at_s: 1, kind: "breakout",
      label: key,
      mine: true, x: null, y: null, sure: null, where: "", by: "", view_name: "a",
      take_away: `/away/${key}`, ...more });
    room.data.marks = [mark("one"), mark("two", { frame: 50 })];
    const { startMarks } = await load("feedback/room/marks.js");
    startMarks(room);
    const row = (key) => find(`li[data-key="${key}"]`);
    const said = () => [find("[data-mark-said]").textContent,
      find("[data-mark-error]").textContent];
"""
)


def test_a_mark_is_taken_away_once(page: Page) -> None:
    """The second press of the same button would find nothing there any more, and complain."""
    told = run(
        page,
        MARKS
        + """
        row("one").querySelector("form button").click();
        row("one").querySelector("form button").click();
        await until(() => asked.length);
        await asked[0].answer({ marks: [mark("two", { frame: 50 })] });
        return [asked.length, ...said()];
        """,
    )
    assert told == [0, "taken away", ""]


def test_marks_go_on_after_an_answer_that_made_no_sense(page: Page) -> None:
    told = run(
        page,
        MARKS
        + """
        const failed = [];
        window.addEventListener("unhandledrejection", (event) => { failed.push(1);
        event.preventDefault(); });
        find("[data-mark-form] button").click();
        await until(() => asked.length);
        await asked[0].answer({}); // no marks in it
        find("[data-mark-form] button").click();
        return until(() => asked.length > 0);
        """,
    )
    assert told is True


def test_a_place_is_not_asked_for_on_another_frame(page: Page) -> None:
    """Asked for of one mark, whose film is on its way; then somebody goes on."""
    told = run(
        page,
        MARKS
        + """
        row("two").querySelector("[data-place-after]").click();
        await settle();
        onScreen({ frame: 70, frames: { a: 70 } }); // elsewhere by now
        jumps[0].done();
        await settle();
        const elsewhere = find("[data-mark-ask]").hidden;
        row("two").querySelector("[data-place-after]").click();
        await settle();
        onScreen({ frame: 50, frames: { a: 50 } });
        jumps[1].done();
        await settle();
        return [elsewhere, find("[data-mark-ask]").hidden];
        """,
    )
    assert told == [True, False]


def test_a_player_that_comes_to_rest_on_the_next_frame_goes_back_to_the_one_that_was_seen(
    page: Page,
) -> None:
    told = run(
        page,
        MARKS
        + """
        find("[data-mark-place]").click();
        room.pause = async () => onScreen({ frame: 6, frames: { a: 6 } });
        find("[data-mark-form] button").click();
        await settle();
        const where = jumps[0]?.where;
        room.pause = async () => {};
        onScreen({ frame: 5, frames: { a: 5 } });
        jumps[0]?.done();
        await settle();
        const asks = !find("[data-mark-ask]").hidden;
        find("[data-mark-ask-none]").click();
        await until(() => asked.length);
        return [where, asks, Object.fromEntries(asked[0].body).frame];
        """,
    )
    assert told == [{"view": "a", "frame": 5}, True, "5"]


def test_who_is_in_the_list_of_marks_by_keys_stays_there(page: Page) -> None:
    page.mouse.move(0, 0)
    told = run(
        page,
        MARKS
        + """
        const place = () => [document.activeElement.closest("li")?.dataset.key ?? null,
          document.activeElement.tagName];
        row("two").querySelector("[data-place-after]").focus();
        find("[data-mark-form] button").click();
        await until(() => asked.length);
        await asked[0].answer({ marks: [mark("new"), mark("one"), mark("two", { frame: 50 })] });
        const stays = place();
        row("two").querySelector("form button").focus();
        row("two").querySelector("form").requestSubmit();
        await until(() => asked.length);
        await asked[0].answer({ marks: [mark("one")] });
        return [stays, place()];
        """,
    )
    assert told == [["two", "BUTTON"], [None, "SUMMARY"]]


PLANE = """
    document.body.innerHTML = `<section data-plane data-place="/plane" data-not-sent="not sent">
      <input name="csrfmiddlewaretoken" value="t">
      <form data-plane-form><p data-plane-walks></p><ul data-plane-fit></ul><ul data-plane-error>
        </ul>
      <input type="radio" name="lies" value="flat" checked>
      <select name="span"><option value="whole">w</option></select><input name="distance_m">
      <button data-plane-keep disabled>keep</button>
        <button type="button" data-plane-drop>d</button></form>
      </section>`;
    const { createPlaneForm } = await load("feedback/room/plane/plane-form.js");
    const { createSending } = await load("feedback/room/plane/sending.js");
    const { makeSetMarks } = await load("feedback/room/plane/set-marks.js");
    const part = find("[data-plane]");
    const sending = createSending(part);
    const marks = makeSetMarks({ changed: () => form.changed() });
    const kept = [];
    const form = createPlaneForm(part, sending, marks, { views: {}, kept: (planes) =>
      kept.push(planes) });
    const add = () => marks.add("a", 7, [0.1, 0.2], { what: "wall", cm: "2" });
    const keep = find("[data-plane-keep]");
    const posts = () => asked.filter(({ method }) => method === "POST");
"""


def test_metres_are_kept_once_though_something_is_typed_while_they_are_sent(page: Page) -> None:
    told = run(
        page,
        PLANE
        + """
        for (let n = 0; n < 3; n += 1) add();
        keep.click();
        await until(() => posts().length);
        form.element.elements.distance_m.value = "4";
        form.element.elements.distance_m.dispatchEvent(new Event("input", { bubbles: true }));
        keep.click();
        form.element.requestSubmit();
        await settle();
        const once = posts().length;
        await posts()[0].answer({ planes: ["p"] });
        return [once, kept, keep.disabled, marks.all().length, form.element.hidden];
        """,
    )
    assert told == [1, [["p"]], True, 0, True]


def test_a_mark_that_is_set_while_metres_are_sent_is_not_dropped(page: Page) -> None:
    told = run(
        page,
        PLANE
        + """
        for (let n = 0; n < 3; n += 1) add();
        keep.click();
        await until(() => posts().length);
        add();
        await posts()[0].answer({ planes: ["p"] });
        return [kept, marks.all().length, form.element.hidden, keep.disabled];
        """,
    )
    assert told == [[["p"]], 4, False, False]


def test_metres_are_taken_away_one_after_the_other(page: Page) -> None:
    """Each answer brings all planes: the last one asked is the last one answered."""
    told = run(
        page,
        PLANE
        + """
        const gone = [sending.takeAway("/away/1"), sending.takeAway("/away/2")];
        await until(() => asked.length);
        const first = asked.map(({ path }) => path);
        await asked[0].answer({ planes: ["2"] });
        await until(() => asked.length);
        await asked[0].answer({ planes: [] });
        return [first, (await Promise.all(gone)).map(({ planes }) => planes)];
        """,
    )
    assert told == [["/away/1"], [["2"], []]]


RATE = (
    ROOM
    + """
    document.body.insertAdjacentHTML("beforeend", `<details data-rate-read data-boxed="{view}"
      data-set-hint="set">
      <form data-rate-form><input name="from_frame"><input name="to_frame"><input name="box_frame">
      <input name="box_x"><input name="box_y"><input name="box_width"><input name="box_height">
      <select name="clip"><option value="a">a</option><option value="b">b</option></select>
      <label data-rate-span-of><select data-rate-span><option value="view">v</option>
      <option value="loop" disabled>l</option></select></label>
      <div data-rate-box-row><button type="button" data-rate-box>box</button>
      <button type="button" data-rate-no-box hidden>no</button></div>
      <p data-rate-said></p><button data-rate-go>go</button></form></details>`);
    room.setTool = (name) => {
      if (name) element.dataset.tool = name; else delete element.dataset.tool;
      element.dispatchEvent(new CustomEvent("room:tool", { detail: { name } }));
    };
    const { startRateRead } = await load("feedback/room/rate-read/rate-read.js");
    startRateRead(room);
    const { elements: fields } = find("[data-rate-form]");
    const ticks = (per_s) => ({ pts: Array.from({ length: 100 }, (_, n) => (n * 90000) / per_s) });
    const choose = (key) => { fields.clip.value = key;
    fields.clip.dispatchEvent(new Event("change")); };
"""
)


def test_a_reading_has_the_frames_of_the_view_that_it_names(page: Page) -> None:
    """The frame list of the view that was chosen first comes last."""
    told = run(
        page,
        RATE
        + """
        find("[data-lane-strip]").dispatchEvent(new CustomEvent("lane-strip:loop",
          { detail: { from_s: 1, to_s: 2 } }));
        choose("b");
        await until(() => asked.length === 2);
        const [a, b] = ["a", "b"].map((key) => asked.find(({ path }) => path === `/frames/${key}`));
        const waits = find("[data-rate-go]").disabled;
        await b.answer(ticks(10));
        await a.answer(ticks(50));
        return [waits, fields.clip.value, fields.from_frame.value, fields.to_frame.value,
          find("[data-rate-go]").disabled];
        """,
    )
    assert told == [True, "b", "10", "19", False]


def test_a_box_has_both_its_corners_on_one_frame(page: Page) -> None:
    told = run(
        page,
        RATE
        + """
        find("[data-rate-box]").click();
        const area = find('[data-view="a"] [data-rate-overlay]');
        area.setPointerCapture = () => {};
        const tap = (x, y) => ["pointerdown", "pointerup"].forEach((kind) =>
          area.dispatchEvent(new PointerEvent(kind, { clientX: x, clientY: y, isPrimary: true })));
        const box = area.getBoundingClientRect();
        const at = (share) => [box.left + share * box.width, box.top + share * box.height];
        tap(...at(0.2));
        onScreen({ frame: 30, frames: { a: 30, b: 30 } }); // it goes on
        tap(...at(0.6));
        const half = fields.box_frame.value;
        tap(...at(0.9));
        return [half, fields.box_frame.value, Number(fields.box_x.value).toFixed(1)];
        """,
    )
    assert told == ["", "30", "0.6"]


def test_a_film_to_take_along_has_the_frames_of_its_view(page: Page) -> None:
    """Until another view's list of frames is there, nothing is made of those of the first."""
    told = run(
        page,
        ROOM
        + """
        document.body.insertAdjacentHTML("beforeend", `<details data-take-along-part open
            data-here="{view}" data-span="{from}" data-no-frame="none"><form data-take-along-form>
          <input name="clip" value="a"><input name="frame"><input name="from_frame" value="0">
          <input name="to_frame" value="99"><span data-clips></span><p data-still-of></p>
          <label class="span-of"><select data-span-of><option value="view">v</option></select>
            </label>
          <p data-span-shown></p><div class="set"><button type="button" data-begin-here></button>
          <button type="button" data-end-here></button></div>
          <button name="kind" value="still">s</button><button name="kind" value="row">r</button>
          <button name="kind" value="film">f</button></form></details>`);
        const { startTakeAlong } = await load("feedback/room/take-along.js");
        startTakeAlong(room);
        const { elements: fields } = find("[data-take-along-form]");
        const told = () => [fields.clip.value, fields.to_frame.value,
          find('[value="film"]').disabled];
        await until(() => asked.length);
        await asked[0].answer({ pts: Array.from({ length: 100 }, (_, n) => n * 3600) });
        const first = told();
        onScreen({ main: "b" });
        await until(() => asked.length);
        const between = told();
        await asked[0].answer({ pts: Array.from({ length: 40 }, (_, n) => n * 3600) });
        return [first, between[2], told()];
        """,
    )
    assert told == [["a", "99", False], True, ["b", "39", False]]


TIME = (
    ROOM
    + """
    const { createTime } = await load("feedback/room/time.js");
    const time = createTime(room);
    let [main, bring, plays] = ["a", null, 0];
    const clock = { zero_s: 0, rate: 1, first_ticks: 0, ticks: [0, 3600, 7200] };
    const engine = { clock: () => clock, seek: async () => {}, pause: async () => {},
      play: async () => { plays += 1; }, step: async () => {} };
    const stage = { main: () => main, shown: () => [main],
      setting: () => ({ follow: true, layout: 1, kept: [] }),
      settle: (at_s, wish) => { main = wish?.main ?? main; return new Promise((go) => {
        bring = go; }); } };
    views[1].from_s = 1; views[1].to_s = 90;
    time.start(engine, stage, { allows: () => true });
    time.shown({ at_s: 40, frames: { a: 2 } });
    time.state({ playing: true, waiting: false, ended: false });
    time.state({ playing: false, waiting: false, ended: true }); // the film on stage is over
    await settle();
"""
)


@pytest.mark.parametrize(
    ("meanwhile", "plays"),
    [("", 1), ("room.pause();", 0), ("time.step(1);", 0), ("room.jump({ at_s: 3 });", 0)],
    ids=["nothing", "a-tool-is-taken", "a-step", "a-jump"],
)
def test_the_next_film_does_not_run_off_from_who_stands(
    page: Page, meanwhile: str, plays: int
) -> None:
    told = run(page, TIME + f"const go = bring; {meanwhile} go(); await settle(); return plays;")
    assert told == plays


TYPED = """
    const said = (words = "", reply = "") => `<div id="said"><div data-told><article data-at="1">
      <details class="answer"><summary>Reply</summary><form id="f7">
        <textarea id="reply-7" name="text">${reply}</textarea></form></details>
      </article></div><form data-say id="say">
        <textarea id="id_text" name="text">${words}</textarea></form></div>`;
    document.body.innerHTML = said();
    const { startTyped } = await load("feedback/room/comments-typed.js");
    startTyped();
    const field = (id) => document.getElementById(id);
    // as htmx does it: told before, replaced, told after
    const swap = (elt, text, html) => {
      const detail = { target: find("#said"), requestConfig: { elt, parameters: { text } } };
      document.body.dispatchEvent(new CustomEvent("htmx:beforeSwap", { detail }));
      find("#said").outerHTML = html;
      document.body.dispatchEvent(new CustomEvent("htmx:afterSwap", { detail: {
        target: find("#said") } }));
    };
    const leaves = () => window.dispatchEvent(new Event("beforeunload", { cancelable: true }));
"""


@pytest.mark.parametrize(
    ("acts", "words", "reply", "leaves"),
    [
        # said, and nothing else
        ("field('id_text').value = 'One'; swap(field('say'), 'One', said());", "", "", True),
        # written on before the answer came
        (
            "field('id_text').value = 'One Two'; swap(field('say'), 'One', said());",
            "Two",
            "",
            False,
        ),
        # refused: it comes back as it was sent, with what was written on
        (
            "field('id_text').value = 'One Two'; swap(field('say'), 'One', said('One'));",
            "One Two",
            "",
            False,
        ),
        # a reply that is half written stays while something else is said
        (
            "field('reply-7').value = 'Half'; field('reply-7').closest('details').open = true;"
            " field('id_text').value = 'One'; swap(field('say'), 'One', said());",
            "",
            "Half",
            False,
        ),
        # and what is half said stays while a reply goes
        (
            "field('reply-7').value = 'Yes'; field('id_text').value = 'Half';"
            " swap(field('f7'), 'Yes', said());",
            "Half",
            "",
            False,
        ),
    ],
    ids=["said", "written-on", "refused", "a-reply-half-written", "half-said"],
)
def test_words_that_are_typed_stay_while_others_are_sent(
    page: Page, acts: str, words: str, reply: str, leaves: bool
) -> None:
    told = run(
        page,
        TYPED + acts + "return [field('id_text').value, field('reply-7').value, leaves(),"
        " field('reply-7').closest('details').open];",
    )
    assert told == [words, reply, leaves, bool(reply)]


def test_words_to_the_swimmer_are_unsaved_until_the_server_has_them(page: Page) -> None:
    told = run(
        page,
        """
        document.body.innerHTML = `<form class="words-to-keep"><textarea>One</textarea></form>`;
        const { startTyped } = await load("feedback/room/comments-typed.js");
        startTyped();
        const form = find("form");
        const tell = (name, detail = {}) =>
          form.dispatchEvent(new CustomEvent(name, { detail, bubbles: true }));
        const stays = () => window.dispatchEvent(new Event("beforeunload", { cancelable: true }));
        const seen = [stays()];
        form.firstChild.value = "Two";
        tell("htmx:beforeRequest");
        seen.push(stays());
        tell("htmx:beforeOnLoad", { xhr: { status: 500 } });
        seen.push(stays());
        tell("htmx:beforeRequest");
        form.firstChild.value = "Three";
        tell("htmx:beforeOnLoad", { xhr: { status: 200 } });
        seen.push(stays());
        tell("htmx:beforeRequest");
        tell("htmx:beforeOnLoad", { xhr: { status: 200 } });
        return [...seen, stays()];
        """,
    )
    assert told == [True, False, False, False, True]


def test_pictures_of_a_swim_come_once_the_network_is_back(page: Page) -> None:
    told = run(
        page,
        """
        document.body.innerHTML = `<section data-pictures="/pictures"><div data-pictures-here></div>
          </section>`;
        await load("feedback/room/swim-pictures.js");
        await until(() => asked.length);
        await asked[0].fail();
        window.dispatchEvent(new Event("online"));
        await until(() => asked.length);
        await asked[0]?.answer("<div data-pictures-made>made</div>");
        window.dispatchEvent(new Event("online")); // they are here
        await settle();
        return [find("[data-pictures-here]").textContent, asked.length];
        """,
    )
    assert told == ["made", 0]


def test_choices_that_were_not_kept_are_said_until_they_are(page: Page) -> None:
    told = run(
        page,
        """
        document.body.innerHTML = `<form data-kept-at-once><input type="checkbox">
          <p data-not-kept hidden>not kept</p></form>`;
        await load("feedback/not-kept.js");
        const tell = (name, detail = {}) =>
          find("input").dispatchEvent(new CustomEvent(name, { detail, bubbles: true }));
        const seen = () => !find("[data-not-kept]").hidden;
        const before = seen();
        tell("htmx:sendError");
        const lost = seen();
        tell("htmx:beforeOnLoad", { xhr: { status: 503 } });
        tell("htmx:responseError");
        const refused = seen();
        tell("htmx:beforeOnLoad", { xhr: { status: 200 } });
        return [before, lost, refused, seen()];
        """,
    )
    assert told == [False, True, True, False]
