"""What the engine of the watch room costs in a real browser: time to a picture, clock, memory.

Four painted views of 25 s at 540 lines (tests/feedback/painted_room.py). Both engines run in the
same browser, so that steered players are the reference of decoded frames. The machine may be busy
for a moment: of a few rounds the best one counts. SIDELANE_BENCH_MINUTES sets how long pictures
are stepped and jumped through before memory is compared (10 asks the whole bar; default 1.5).
"""

from __future__ import annotations

import json
import os
import random
import statistics
from collections.abc import Iterator
from typing import Any

import psutil
import pytest

from tests.cast import Cast
from tests.feedback.painted_room import least_excess_s, put_room
from tests.feedback.room_page import RoomPage, open_room

pytestmark = [
    pytest.mark.bench,
    pytest.mark.django_db(transaction=True),
    pytest.mark.timeout(1800),
]

ROUNDS = 3
MINUTES = float(os.environ.get("SIDELANE_BENCH_MINUTES", "1.5"))
MOST_JUMP_MS, MOST_STEP_MS = 400, 50
"""Steps of decoded frames: 40 ms was measured on two cores without a graphics card, with four views
stepped as fast as they come, and the machine otherwise idle."""
MOST_STEP_RATIO = 0.6
"""A step of decoded frames against one of steered players, medians."""
MOST_GROWTH_MB = 50
SETTLE_MS = 5000
JUMPS = """
const taken = [];
for (const at_s of arg) {
  const begun = performance.now();
  await engine.seek(at_s);
  taken.push(performance.now() - begun);
}
return taken;
"""
STEPS = """
const taken = [];
for (let n = 0; n < 200; n += 1) {
  const begun = performance.now();
  await engine.step(n < 100 ? 1 : -1);
  taken.push(performance.now() - begun);
}
return taken;
"""
RUN = """
const first = shows.length;
const begun = { ms: performance.now(), at_s: engine.state().at_s };
await new Promise(done => setTimeout(done, 5000));
const took_s = (performance.now() - begun.ms) / 1000;
const gone_s = engine.state().at_s - begun.at_s;
const painted = new Set(shows.slice(first).map(({ frames }) => frames[keys[0]])).size;
return { took_s, gone_s, painted };
"""
DISTURB = """
const video = document.querySelectorAll("video")[1];
video.currentTime += arg;
const begun = performance.now();
const within = [];
while (performance.now() - begun < 2500) {
  await new Promise(requestAnimationFrame);
  within.push([performance.now() - begun, await numbers()]);
}
return within;
"""


@pytest.fixture
def rooms(browser: Any, live_server: Any, stations: Any, site_cast: Cast) -> Iterator[Any]:
    clips = put_room(site_cast, stations)

    def room(kind: str) -> RoomPage:
        made = open_room(browser, live_server.url, site_cast.coach, clips, stations, kind=kind)
        made.show_all(540)
        return made

    return room


def test_jumps_and_steps_are_quick(rooms: Any) -> None:
    """Jumps within 400 ms and steps of decoded frames within 50 ms, 19 of 20."""
    instants = random.Random(8)
    rounds = []
    for _ in range(ROUNDS):
        told: dict[str, float] = {}
        for kind in ("frames", "players"):
            room = rooms(kind)
            jumps = room.do(JUMPS, [instants.uniform(0.2, 18) for _ in range(40)])
            room.seek(5.0)
            steps = room.do(STEPS)
            room.close()
            for name, taken in (("jump", jumps), ("step", steps)):
                told[f"{kind}_{name}_ms"] = round(statistics.median(taken), 1)
                told[f"{kind}_{name}_p95_ms"] = round(_p95(taken), 1)
        told["step_ratio"] = round(told["frames_step_ms"] / told["players_step_ms"], 3)
        rounds.append(told)
        _say("jumps and steps", told)
        if _quick(told):
            return
    raise AssertionError(rounds)


def _quick(told: dict[str, float]) -> bool:
    jumps = max(told["frames_jump_p95_ms"], told["players_jump_p95_ms"])
    return (
        jumps <= MOST_JUMP_MS
        and told["frames_step_p95_ms"] <= MOST_STEP_MS
        and told["step_ratio"] <= MOST_STEP_RATIO
    )


def test_the_clock_goes_on_and_the_frames_that_are_due_are_painted(rooms: Any) -> None:
    """Decoded frames at rate 1: 97 % of the clock, 85 % of what is due, all in step."""
    room = rooms("frames")
    rounds = []
    for _ in range(ROUNDS):
        ran = _run(room, 2.0, 1)
        due = ran["gone_s"] * 60 / 1.001
        told = {
            "advance": round(ran["gone_s"] / ran["took_s"], 3),
            "painted": round(ran["painted"] / due, 3),
            "excess_max_ms": max(_excesses_ms(room, 40)),
        }
        rounds.append(told)
        _say("decoded frames at rate 1", told)
        assert told["excess_max_ms"] == 0
        if told["advance"] >= 0.97 and told["painted"] >= 0.85:
            room.close()
            return
    raise AssertionError(rounds)


@pytest.mark.parametrize("rate", [1, 1 / 2, 1 / 8, 1 / 16])
def test_steered_players_stay_in_step(rooms: Any, rate: float) -> None:
    """19 of 20 reads within 34 ms, none over 100."""
    room = rooms("players")
    rounds = []
    for _ in range(ROUNDS):
        _run(room, 2.0, rate)
        taken = _excesses_ms(room, 60)
        told = {"p95_ms": round(_p95(taken), 1), "max_ms": round(max(taken), 1)}
        told["exact"] = round(sum(ms == 0 for ms in taken) / len(taken), 2)
        rounds.append(told)
        _say(f"players at rate {rate}", told)
        if told["p95_ms"] <= 34 and told["max_ms"] <= 100:
            room.close()
            return
    raise AssertionError(rounds)


def test_a_disturbed_player_is_in_step_again_within_a_second(rooms: Any) -> None:
    room = rooms("players")
    rounds = []
    for by_s in (0.2, -0.2, 0.2):
        _run(room, 2.0, 1)
        seen = room.do(DISTURB, by_s)
        away = [ms for ms, numbers in seen if _excess_ms(room, numbers) > 34]
        rounds.append(max(away, default=0.0))
        _say("a player disturbed by 0.2 s", {"in_step_again_ms": round(rounds[-1])})
        if rounds[-1] <= 1000:
            room.close()
            return
    raise AssertionError(rounds)


@pytest.mark.parametrize("kind", ["frames", "players"])
def test_memory_does_not_grow_with_stepping_and_jumping(rooms: Any, kind: str) -> None:
    room = rooms(kind)
    cdp = room.context.new_cdp_session(room.page)
    _step_and_jump(room, 0.5)
    before_mb = _settled_mb(room, cdp)
    _step_and_jump(room, MINUTES)
    after_mb = _settled_mb(room, cdp)
    told = {"minutes": MINUTES, "before_mb": round(before_mb), "after_mb": round(after_mb)}
    _say(f"memory, {kind}", told)
    room.close()
    assert after_mb - before_mb < MOST_GROWTH_MB, told


def _settled_mb(room: RoomPage, cdp: Any) -> float:
    """At the same instant each time, once all is decoded that is held around it: how many
    pictures are held differs from instant to instant by more than the bar."""
    room.do(
        """
        await engine.seek(9);
        await new Promise(done => setTimeout(done, arg));
        """,
        SETTLE_MS,
    )
    return _browser_mb(cdp)


def _step_and_jump(room: RoomPage, minutes: float) -> None:
    room.do(
        """
        const until = performance.now() + arg * 60000;
        for (let n = 0; performance.now() < until; n += 1) {
          await engine.seek(0.2 + (n * 3.7) % 18);
          for (let step = 0; step < 8; step += 1) await engine.step(step % 4 === 3 ? -2 : 1);
        }
        """,
        minutes,
    )


def _browser_mb(cdp: Any) -> float:
    """All of the browser's processes, each page of memory counted once."""
    for _ in range(2):
        cdp.send("HeapProfiler.collectGarbage")
    everyone = psutil.Process().children(recursive=True)
    browsers = [one for one in everyone if "chrom" in one.name()]
    assert browsers
    return sum(one.memory_full_info().pss for one in browsers) / 1024**2


def _run(room: RoomPage, from_s: float, rate: float) -> dict[str, float]:
    """Five seconds of running, from when it has started."""
    room.do("await engine.pause(); engine.setRate(1); await engine.seek(arg)", from_s)
    room.do("shows.length = 0; engine.setRate(arg); await engine.play()", rate)
    room.until("shows.length > 3 && !engine.state().waiting")
    ran: dict[str, float] = room.do(RUN)
    return ran


def _excess_ms(room: RoomPage, numbers: list[int | None]) -> float:
    pairs = zip(room.stations, room.frames_of(numbers), strict=True)
    return 1000 * least_excess_s([pair for pair in pairs if pair[1] is not None])


def _excesses_ms(room: RoomPage, count: int) -> list[float]:
    seen = room.do("return watch(arg, 60)", count)
    return [_excess_ms(room, one["shown"]) for one in seen]


def _p95(taken: list[float]) -> float:
    return sorted(taken)[int(0.95 * len(taken))]


def _say(what: str, told: dict[str, Any]) -> None:
    print(f"{what}: {json.dumps(told)}")
