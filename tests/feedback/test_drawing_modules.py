"""The page's drawing modules by themselves, in the browser that runs them; the lines that the
page draws are those that are printed."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from playwright.sync_api import Browser, Page

from feedback.compute.drawing import angle_deg, label_of, label_place, outlines_of
from feedback.compute.pen import COLOURS, PATTERNS
from tests.feedback.test_drawing_geometry import GOOD

ROOT = Path(settings.BASE_DIR)
FOLDER = ROOT / "feedback/static/feedback/room/drawing"
SITE = "http://drawing.localhost"  # a secure context, as the portal is
PURE = ("geometry", "place", "gesture", "by-frame", "history", "lasting")


@pytest.fixture
def page(browser: Browser) -> Any:
    """A page that has the modules and nothing else."""
    page = browser.new_page()

    def serve(route: Any) -> None:
        name = route.request.url.removeprefix(SITE + "/")
        if not name.endswith(".js"):
            return route.fulfill(body="<!doctype html><title>-</title>", content_type="text/html")
        file = FOLDER / name if (FOLDER / name).is_file() else ROOT / "portal/static" / name
        return route.fulfill(body=file.read_text(), content_type="text/javascript")

    page.route(SITE + "/**", serve)
    page.goto(SITE + "/")
    yield page
    page.close()


def ask(page: Page, module: str, script: str, arg: Any = None) -> Any:
    return page.evaluate(
        f"async arg => {{ const m = await import('/{module}.js'); {script} }}", arg
    )


@pytest.mark.parametrize("name", PURE)
def test_pure_modules_know_no_page(name: str) -> None:
    assert not re.search(r"\b(document|window|Element)\b", (FOLDER / f"{name}.js").read_text())


@pytest.mark.parametrize("straight", [False, True])
@pytest.mark.parametrize(("width_px", "height_px"), [(1280, 720), (360, 640)])
def test_the_page_draws_what_is_printed(
    page: Page, straight: bool, width_px: int, height_px: int
) -> None:
    size = [width_px, height_px]
    for kind, points in GOOD.items():
        drawn = ask(
            page,
            "geometry",
            "return m.outlinesOf(arg.kind, arg.points, arg.straight, ...arg.size)",
            {"kind": kind, "points": points, "straight": straight, "size": size},
        )
        printed = outlines_of(kind, points, straight, width_px, height_px)
        assert [line["patterned"] for line in drawn] == [line.patterned for line in printed]
        for one, other in zip(drawn, printed, strict=True):
            flat = [n for place in other.places for n in place]
            assert [n for place in one["places"] for n in place] == pytest.approx(flat, abs=1e-6)


@pytest.mark.parametrize(
    "points",
    [GOOD["joint"], [[0.9, 0.1], [0.2, 0.2], [0.1, 0.9]], [[0, 0], [0.5, 0.5], [1, 1]]],
)
def test_the_page_says_the_angle_that_is_printed(page: Page, points: Any) -> None:
    told = ask(
        page,
        "geometry",
        "return [m.angleDeg(arg, 1280, 720), m.labelOf('joint', arg, 1280, 720),"
        " m.labelPlace(arg, 1280, 720, 16)]",
        points,
    )
    assert told[0] == pytest.approx(angle_deg(points, 1280, 720), abs=1e-9)
    assert told[1] == label_of("joint", points, 1280, 720)
    assert told[2] == pytest.approx(list(label_place(points, 1280, 720, 16)), abs=1e-6)


def test_a_place_on_the_screen_is_a_fraction_of_the_picture(page: Page) -> None:
    """A wide picture in a square box stands in its middle; beside it is its edge."""
    box = {"left": 100, "top": 50, "width": 320, "height": 320}
    places = [[100, 120], [420, 300], [260, 210], [0, 0], [260, 60]]
    told = ask(
        page,
        "place",
        "return arg.at.map((p) => m.fractionAt(arg.box, 640, 360, p))",
        {"box": box, "at": places},
    )
    assert told == [[0, 0], [1, 1], [0.5, 0.5], [0, 0], [0.5, 0]]
    assert ask(page, "place", "return m.perScreenPx(arg, 640, 360)", box) == 2


def test_a_line_is_kept_with_few_points_and_where_it_was(page: Page) -> None:
    line = [[n / 999, 0.5 + 0.4 * ((n / 999) * 2 - 1) ** 2] for n in range(1000)]
    kept = ask(page, "place", "return m.simplified(arg, 640, 360)", line)
    assert kept[0] == line[0] and kept[-1] == line[-1] and 8 <= len(kept) <= 40
    few = ask(page, "place", "return m.simplified(arg, 640, 360, 6)", line)
    assert 2 <= len(few) <= 6
    straight = [[n / 999, n / 999] for n in range(1000)]
    assert ask(page, "place", "return m.simplified(arg, 640, 360)", straight) == [[0, 0], [1, 1]]


GESTURE = """
  const one = m.makeGesture(arg.kind, arg.straight ?? false);
  const last = [];
  for (const [name, ...given] of arg.acts) last.push(one[name](...given));
  return { points: one.points(), last: last.filter((told) => told !== undefined) };
"""


DRAG: list[Any] = [["press", [0, 0]], ["release", [1, 1], True, False]]


@pytest.mark.parametrize(
    ("kind", "straight", "acts", "points", "ended"),
    [
        ("pointer", False, DRAG, 2, True),
        ("pointer", False, [["press", [0, 0]], ["release", [0, 0], False, False]], 1, False),
        ("joint", False, DRAG, 2, False),
        ("joint", False, [["add", [0, n / 3]] for n in range(3)], 3, True),
        ("joint", False, [["add", [0, 0]], ["add", [0, 0], True]], 1, False),
        ("level", False, DRAG, 1, True),
        ("trace", False, [DRAG[0], ["move", [0, 1]], DRAG[1]], 3, True),
        ("trace", False, [["add", [0, 0]], ["add", [1, 1]]], 2, False),
        ("trace", True, [["add", [0, 0]], ["add", [1, 1]], ["add", [1, 1], True]], 2, True),
        ("trace", True, [["add", [0, n / 40]] for n in range(40)], 40, True),
    ],
)
def test_points_come_by_drags_and_by_taps(
    page: Page, kind: str, straight: bool, acts: Any, points: int, ended: bool
) -> None:
    told = ask(page, "gesture", GESTURE, {"kind": kind, "straight": straight, "acts": acts})
    assert len(told["points"]) == points and told["last"][-1] is ended


def test_drawings_are_found_by_view_and_frame(page: Page) -> None:
    drawings = [
        {"key": "a", "view": "v", "frame": 3, "until_frame": 3},
        {"key": "b", "view": "v", "frame": 2, "until_frame": 5},
        {"key": "c", "view": "w", "frame": 3, "until_frame": None},
        {"key": "d", "view": None, "frame": None, "until_frame": None},
    ]
    told = ask(
        page,
        "by-frame",
        "const index = m.makeIndex(arg);"
        "return [['v', 1], ['v', 2], ['v', 3], ['v', 5], ['v', 6], ['w', 3], ['x', 3], ['v', null]]"
        ".map((at) => index.at(...at).map(({ key }) => key).join(''))",
        drawings,
    )
    assert told == ["", "b", "ab", "b", "", "c", "", ""]


def test_a_step_that_fails_can_be_undone_again(page: Page) -> None:
    told = ask(
        page,
        "history",
        """
        const log = [];
        const history = m.createHistory();
        let fails = true;
        history.add({ undo: async () => { if (fails) throw new Error("no"); log.push("undo"); },
          redo: async () => log.push("redo") });
        await history.undo().catch(() => log.push("failed"));
        fails = false;
        const before = [history.canUndo(), history.canRedo()];
        await history.undo();
        await history.redo();
        return { log, before, after: [history.canUndo(), history.canRedo()] };
        """,
    )
    assert told == {
        "log": ["failed", "undo", "redo"],
        "before": [True, False],
        "after": [True, False],
    }


STORE = """
    const { createSaving } = await import("/saving.js");
    const log = [];
    let answered = []; // by hand: the server takes its time
    const server = (url, fields) => new Promise((resolve) => answered.push((ok) => {
      const key = fields.get("key") ?? url.split("/")[1];
      const points = JSON.parse(fields.get("points") ?? "null");
      const drawing = { key, kind: "level", points, frame: 3, view: "v", mine: true,
        move: `move/${key}`, stand: `stand/${key}`, rub_out: `rub-out/${key}` };
      resolve({ ok, json: async () => (ok ? { drawing } : { errors: { frame: ["Not here."] } }) });
    }));
    window.fetch = (url, { body }) => { log.push(url.split("/")[0]); return server(url, body); };
    const settle = () => new Promise((go) => setTimeout(go, 5));
    const answer = async (ok = true) => { await settle(); answered.shift()(ok); await settle(); };
    const part = { querySelector: () => ({ value: "t" }),
      dataset: { draw: "draw", notSaved: "no" } };
    let trouble = "";
    const store = m.createStore([], { saving: createSaving(part, []), words: () => "level",
      onChange: () => {}, onTrouble: (words) => { trouble = words; } });
    const draw = (y) => store.draw({ kind: "level", view: "v", frame: 3, points: [[0.5, y]],
      width_px: 640, height_px: 360 });
    const told = () => ({ log, trouble, waiting: answered.length,
      heights: store.all().map((one) => one.points[0][1]) });
"""


@pytest.mark.parametrize(
    ("acts", "log", "heights", "trouble"),
    [
        # undone before the server had answered: it is rubbed out there too
        ("draw(0.2); store.undo(); await answer(); await answer();", "draw rub-out", [], ""),
        # undone, and then refused: nothing stays that could be tried again
        ("draw(0.2); store.undo(); await answer(false);", "draw", [], ""),
        # moved before the server had answered: moved there too, and no answer moves it back
        (
            "draw(0.2); store.move(store.all()[0].key, [[0.5, 0.7]], [[0.5, 0.2]]); await answer();"
            " const seen = told().heights[0]; if (seen !== 0.7) throw seen; await answer();",
            "draw move",
            [0.7],
            "",
        ),
        # refused, then moved: drawn as it is by now
        (
            "draw(0.2); await answer(false); if (trouble !== 'Not here.') throw trouble;"
            " store.move(store.all()[0].key, [[0.5, 0.7]], [[0.5, 0.2]]); await answer();",
            "draw draw",
            [0.7],
            "",
        ),
        # a move that is refused goes back to what the server has
        (
            "draw(0.2); await answer();"
            " store.move(store.all()[0].key, [[0.5, 0.7]], [[0.5, 0.2]]); await answer(false);",
            "draw move",
            [0.2],
            "Not here.",
        ),
        # pressed twice: two are undone; and done again, in their order
        (
            "draw(0.2); draw(0.4); store.undo(); store.undo();"
            " await answer(); await answer(); await answer(); await answer();"
            " store.redo(); store.redo(); await settle(); await answer(); await answer();",
            "draw draw rub-out rub-out draw draw",
            [0.2, 0.4],
            "",
        ),
        # rubbing out that fails: it is back
        (
            "draw(0.2); await answer(); store.rubOut(store.all()[0].key); await answer(false);",
            "draw rub-out",
            [0.2],
            "Not here.",
        ),
    ],
    ids=[
        "undone-in-flight",
        "undone-then-refused",
        "moved-in-flight",
        "refused-then-moved",
        "move-refused",
        "pressed-twice",
        "not-rubbed-out",
    ],
)
def test_what_is_undone_or_moved_before_an_answer_is_so_on_the_server_too(
    page: Page, acts: str, log: str, heights: list[float], trouble: str
) -> None:
    told = ask(page, "store", STORE + acts + " await settle(); return told();")
    assert told == {"log": log.split(), "heights": heights, "trouble": trouble, "waiting": 0}


def test_colours_and_patterns_are_those_that_are_printed() -> None:
    tokens = (ROOT / "portal/static/portal/tokens.css").read_text()
    told = dict(re.findall(r"--drawn-(\w+): (#\w{6})", tokens))
    assert told == COLOURS
    sheet = (FOLDER.parent / "drawing.css").read_text()
    patterns = dict(re.findall(r"\.in-(\w+) \.ink\.patterned \{ stroke-dasharray: ([^;]+);", sheet))
    drawn = {name: [float(n[:-2]) for n in dashes.split()] for name, dashes in patterns.items()}
    wanted = {name: [3 * n for n in pattern] for name, pattern in PATTERNS.items() if pattern}
    assert drawn == {name: pytest.approx(dashes) for name, dashes in wanted.items()}


def test_seconds_are_frames_of_their_view_and_end_with_it(page: Page) -> None:
    """100 frames in 4 s: 25 a second; by hand."""
    view = {"frame_count": 100, "from_s": 7.0, "to_s": 11.0}
    for frame, span_s, until in (
        (40, 0, 40),
        (40, 0.48, 52),
        (40, 2, 90),
        (60, 2, 99),
        (99, 1, 99),
    ):
        assert ask(page, "lasting", "return m.untilFrame(...arg)", [view, frame, span_s]) == until
    for until, chosen in ((40, 0), (65, 1), (90, 2), (66, None), (None, 0)):
        drawing = {"frame": 40, "until_frame": until}
        assert (
            ask(page, "lasting", "return m.choiceOf(...arg)", [view, drawing, [0, 0.5, 1, 2]])
            == chosen
        )
