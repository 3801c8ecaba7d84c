"""What the engine does beside showing pictures: sound, fetching, trouble, memory, figures."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings as site
from playwright.sync_api import Route

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]

KINDS = ["frames", "players"]
KEEP_SOUNDS = "window.sounds = []; const Own = Audio; window.Audio = function () {" + (
    " const made = new Own(); sounds.push(made); return made; };"
)
KEEP_DECODERS = """
window.decoders = [];
window.held = new Set();
const Own = VideoDecoder;
window.VideoDecoder = class extends Own {
  constructor(told) {
    super({ ...told, output(frame) { held.add(frame); told.output(frame); } });
    decoders.push({ it: this, told });
  }
};
const close = VideoFrame.prototype.close;
VideoFrame.prototype.close = function () { held.delete(this); close.call(this); };
"""
NO_DECODER = "delete window.VideoDecoder;"


@pytest.mark.parametrize("kind", KINDS)
def test_sound_is_heard_at_rate_one_and_keeps_step(rooms: Any, kind: str) -> None:
    room = rooms(kind, first=KEEP_SOUNDS)
    room.show_all()
    room.seek(0.5)
    room.do("engine.setMain(arg); engine.setSound(true)", room.keys[3])
    room.do("await engine.play()")
    room.until("sounds[0].currentTime > 0 && !sounds[0].paused")
    room.do("await new Promise(done => setTimeout(done, 1200))")
    # the sound file of this clip begins with its first picture
    late_s = "engine.state().at_s - arg - sounds[0].currentTime"
    begins_s, rate = float(room.stations[3].edges_s[0]), 1 - 118e-6
    assert abs(room.do(f"return {late_s}", begins_s) / rate) < 0.2
    for slow in (0.5, 0.25):
        room.do("engine.setRate(arg)", slow)
        room.until("sounds[0].paused")
    room.do("engine.setRate(1)")
    room.until("!sounds[0].paused")
    room.do("await engine.pause()")
    assert room.do("return sounds[0].paused")
    room.do("engine.setMain(arg); await engine.play()", room.keys[1])  # it recorded no sound
    room.do("await new Promise(done => setTimeout(done, 300))")
    assert room.do("return sounds[0].paused")


@pytest.mark.parametrize("kind", KINDS)
def test_each_film_is_fetched_once_and_whole(rooms: Any, kind: str) -> None:
    room = rooms(kind)
    asked: list[str] = []
    # not the script that converts pictures apart from the page
    room.page.on(
        "request",
        lambda request: asked.append(request.url) if "/static/" not in request.url else None,
    )
    small, large = room.views[0]["renditions"]
    assert room.do("return engine.bytes(keys[0])") == large["size_bytes"]
    assert asked == []
    room.do("await engine.setShown(keys, { height_px: 0 }); await engine.seek(1)")
    assert room.do("return [engine.bytes(keys[0]), engine.fetched(keys[0])]") == [
        small["size_bytes"],
        1,
    ]
    room.do("await engine.seek(3.9); await engine.seek(0.2)")
    room.do("await engine.setShown([keys[1]], { height_px: 0 })")
    room.do("await engine.setShown(keys, { height_px: 150 })")  # nothing larger is needed
    films = [url for url in asked if not url.endswith("/frames.json") and "/static/" not in url]
    films = [url for url in films if not url.startswith("blob:")]
    assert sorted(films) == sorted(
        room.server + view["renditions"][0]["url"] for view in room.views
    )
    room.do("await engine.setShown([keys[0]], { height_px: 360 })")
    assert room.shown()[0] == room.right(0.2)[0]
    assert asked[-1].endswith(large["url"]) or asked[-2].endswith(large["url"])
    assert room.do("return engine.bytes(keys[0])") == large["size_bytes"]


def test_a_connection_that_breaks_off_is_taken_up_where_it_ended(rooms: Any) -> None:
    room = rooms("frames")
    url = room.views[0]["renditions"][1]["url"]
    ranges: list[str] = []

    def cut(route: Route) -> None:
        asked = route.request.headers.get("range", "")
        ranges.append(asked)
        answer = route.fetch()
        if asked:
            route.fulfill(response=answer)
        else:  # says its length, and sends half of it
            body = answer.body()
            route.fulfill(response=answer, body=body[: len(body) // 2])

    room.page.route("**" + url, cut)
    room.show_all()
    room.seek(1.0)  # the half that came first is enough
    assert room.shown() == room.right(1.0)
    room.seek(4.2)
    size = room.views[0]["renditions"][1]["size_bytes"]
    assert ranges == ["", f"bytes={size // 2}-"]
    assert room.shown() == room.right(4.2)


@pytest.mark.parametrize("kind", KINDS)
def test_a_view_in_trouble_is_told_and_the_others_go_on(rooms: Any, kind: str) -> None:
    room = rooms(kind)
    url = room.views[1]["renditions"][1]["url"]
    room.page.route("**" + url, lambda route: route.fulfill(status=404))
    room.show_all()
    room.seek(2.0)
    right = room.right(2.0)
    assert [key for key, _ in room.do("return troubles")] == [room.keys[1]]
    assert room.told() == [right[0], None, right[2], right[3]]
    room.do("await engine.step(1); await engine.play()")
    room.until("engine.state().at_s > 2.3")
    room.do("await engine.pause()")
    room.page.unroute("**" + url)
    room.show_all()  # tried again
    at_s = room.do("return engine.state().at_s")
    assert room.shown() == room.told() == room.right(at_s)
    room.said[:] = [said for said in room.said if "404" not in said]


def test_a_film_that_is_not_the_one_of_its_list_is_not_shown(rooms: Any) -> None:
    room = rooms("frames", views=lambda views: views[0].update(renditions=views[2]["renditions"]))
    room.do("engine.setMain(keys[1])")
    # the list of the third view's film is right for it; another list is not
    room.page.route(
        "**" + room.views[2]["renditions"][0]["frames"],
        lambda route: route.fulfill(json={"pts": [3000 * n for n in range(90)]}),
    )
    room.show_all()
    room.seek(1.0)
    told = dict(room.do("return troubles"))
    assert set(told) == {room.keys[0], room.keys[2]}
    assert "other frames than its list" in told[room.keys[2]]
    assert room.told()[1] == room.right(1.0)[1]


def test_a_decoder_that_the_browser_took_back_is_made_anew(rooms: Any) -> None:
    room = rooms("frames", first=KEEP_DECODERS)
    room.show_all()
    room.seek(1.0)
    take_back = """
    const error = new DOMException("Codec reclaimed due to inactivity.", "QuotaExceededError");
    for (const { it, told } of decoders) {
      if (it.state === "closed") continue;
      it.close();
      told.error(error);
    }
    return decoders.length;
    """
    before = room.do(take_back)
    room.seek(3.7)
    assert room.shown() == room.right(3.7)
    assert room.do("return decoders.length") > before
    room.do("await engine.play()")
    room.until("engine.state().at_s > 3.8")
    room.do(take_back)
    room.until("engine.state().at_s > 4.6")
    room.do("await engine.pause()")
    at_s = room.do("return engine.state().at_s")
    assert room.shown()[:2] == room.right(at_s)[:2]
    assert room.do("return troubles") == []


def test_pictures_that_are_held_are_bounded_and_all_given_back(rooms: Any) -> None:
    room = rooms("frames", first=KEEP_DECODERS)
    room.show_all()
    most = 0
    for n in range(12):
        room.seek(0.3 + (n * 0.71) % 4)
        room.do("await engine.step(3); await engine.step(-2)")
        most = max(most, room.do("return held.size"))
    # per view at most own group, one behind, three ahead, at 60 frames a second and 0.25 s
    assert 0 < most <= 4 * 5 * 16
    room.do("await engine.setShown([keys[0]])")
    assert room.do("return held.size") <= 5 * 16
    room.do("await engine.play(); engine.close(); await new Promise(requestAnimationFrame)")
    room.until("held.size === 0")
    assert room.do("return decoders.every(({ it }) => it.state === 'closed')")


def test_without_decoding_by_the_page_players_are_steered(rooms: Any) -> None:
    room = rooms(first=NO_DECODER, expect="players")
    room.show_all()
    room.seek(1.0)
    assert room.on_screen() == room.right(1.0)


def test_the_pure_modules_figures(rooms: Any) -> None:
    room = rooms("frames")
    told = room.do(
        """
        const at = (name) => import(`/static/feedback/room/${name}.js`);
        const clock = await at("clock");
        const { makeTimeline, inLoop, keptLoop } = await at("engine/timeline");
        const { makeGops, wantedGops } = await at("engine/gops");
        const { steer } = await at("engine/steer");
        const { makeLane } = await at("engine/lane");
        const { smallest } = await at("renditions");
        const one = clock.makeClock(
          { zero_s: -20, rate: 1.0005, first_ticks: 90000, ticks: [0, 3000, 9000] });
        const line = makeTimeline();
        line.stand(2);
        const positions = [line.at(0), line.at(9000)];
        line.run(2, 1000);
        positions.push(line.at(1500));
        line.setRate(0.25, 2000);
        positions.push(line.at(2000), line.at(4000));
        const gops = makeGops([0, 15, 30, 45, 60, 75], 80);
        const loop = { from_s: 1, to_s: 1.5 };
        const lane = makeLane();
        const turns = [];
        const view = (name) => () => {
          if (lane.enter(view[name])) turns.push(name);
        };
        for (const name of ["a", "b", "c", "d"]) view[name] = view(name);
        for (const name of ["a", "b", "c", "d"]) view[name]();
        lane.leave(view.c); // gives up waiting
        lane.leave(view.a);
        lane.leave(view.b);
        return {
          turns,
          positions,
          frames: [-19.0006, -18.99949, -18.97, -18.9, -18.89, -18.8]
            .map((s) => clock.frameOf(one, s)),
          middles: [0, 1, 2].map((n) => clock.middleS(one, n)),
          round: clock.mediaAtSwimS(one, clock.swimAtMediaS(one, 0.7)),
          looped: [0.5, 1.49, 1.5, 1.7, 2.1].map((s) => inLoop(s, loop)),
          loops: [keptLoop(loop), keptLoop({ from_s: 1, to_s: 1.01 }), keptLoop(null)],
          gops: [gops.of(0), gops.of(14), gops.of(15), gops.of(79), gops.end(5), gops.first(2)],
          wanted: [wantedGops(gops, 31), wantedGops(gops, 0), wantedGops(gops, 79, 16),
            wantedGops(gops, 31, null, -1)],
          steering: [steer(0.003, 1), steer(0.015, 1), steer(-0.015, 1), steer(0.05, 1),
            steer(0.13, 1), steer(-0.05, 0.25), steer(-0.02, 0.125), steer(0.02, 0.125)],
          smallest: smallest([{ height: 720 }, { height: 360 }]).height,
        };
        """
    )
    rate = 1.0005
    assert told["positions"] == [2, 2, 2.5, 3, 3.5]
    # first frame from -20 + 1 × 1.0005 s on; the last as long as the one before: 6000 ticks
    assert told["frames"] == [None, 0, 0, 1, 2, None]
    middles = [-20 + (1 + ticks / 90_000) * rate for ticks in (1500, 6000, 12_000)]
    assert told["middles"] == pytest.approx(middles, abs=1e-9)
    assert told["round"] == pytest.approx(0.7, abs=1e-9)
    assert told["looped"] == pytest.approx([0.5, 1.49, 1, 1.2, 1.1])
    assert told["loops"] == [{"from_s": 1, "to_s": 1.5}, None, None]
    assert told["gops"] == [0, 0, 1, 5, 80, 30]
    assert told["wanted"] == [[2, 3, 1, 4, 5], [0, 1, 2, 3], [5, 4, 1, 2], [2, 1, 3, 0]]
    assert told["turns"] == ["a", "b", "d"]  # one at a time, in order
    expected = [1, 1.05, 0.95, 1.1, "anew", "anew", 0.75, 1.25]
    assert told["steering"] == [pytest.approx(x) if x != "anew" else x for x in expected]
    assert told["smallest"] == 360


def test_vendored_mediabunny_is_the_file_that_its_readme_names() -> None:
    folder = Path(site.BASE_DIR) / "portal/static/portal/vendor/mediabunny"
    content = (folder / "mediabunny.min.js").read_bytes()
    readme = (folder / "README.md").read_text()
    assert hashlib.sha256(content).hexdigest() in readme
    assert f"({len(content)} bytes)" in readme
    assert (folder / "LICENSE").read_text().startswith("Mozilla Public License")
