"""Reading drawn and painted films whose rate is imposed: within 3 %, or it could not tell."""

from __future__ import annotations

import numpy as np
import pytest
import scipy
from numpy.typing import NDArray
from PIL import Image

from clinics.management.demo.figure import Colours
from clinics.management.demo.motion import Go
from clinics.management.demo.painted import painted_value
from clinics.management.demo.scene import Figure, Painter
from feedback.compute.rate_read.cells import cells_along
from feedback.compute.rate_read.film import Film, film_of_pictures, frames_to_read
from feedback.compute.rate_read.follow import follow
from feedback.compute.rate_read.read import read_rate
from feedback.compute.rate_read.result import Sure, Why
from feedback.compute.rate_read.rhythm import PER_S, at_even_times
from tests.feedback.rate_read.drawn import Scene, draw
from tests.feedback.rate_read.many import WITHIN, counted, read_of

COLOURS = Colours((215, 159, 126), (20, 60, 90), (181, 56, 15))
STROKES = ("freestyle", "backstroke", "breaststroke", "butterfly")
RATE_HZ = 0.9  # of the demo's painted cycle, at a usual go
START_S = 8.0
FAINT = "breaststroke"  # pull and kick look alike: told where it shows clearly


def painted(station: str, stroke: str, duration_s: float, from_s: float, to_s: float) -> Film:
    """A span of a demo recording as its painter draws it, time row and all; swim seconds."""
    go = Go(duration_s, stroke, from_water=stroke == "backstroke")
    painter = Painter(station, [Figure(11, START_S, go, COLOURS)], START_S + duration_s + 5)
    times_s = np.arange(from_s, to_s, 1 / 25)

    def pictures() -> object:
        for at_s in times_s:
            frame = painter.draw(START_S + at_s)
            frame.paint_time(painted_value(START_S + at_s))
            small = Image.fromarray(frame.luma).resize((240, 136), Image.Resampling.BOX)
            yield np.asarray(small)

    return film_of_pictures(pictures(), times_s)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("stroke", "duration_s"),
    [(stroke, duration_s) for stroke in STROKES for duration_s in (26.0, 29.0) if stroke != FAINT]
    + [(FAINT, 26.0)],
)
def test_each_stroke_of_the_demo_is_told_from_the_deck(stroke: str, duration_s: float) -> None:
    """Of a whole view with dive, turn and glide; windows and a rope pass through the picture, and
    ripples come back fifty times a minute."""
    film = painted("deck", stroke, duration_s, -1.0, duration_s)
    reading = read_rate(film, stroke)
    true = 60 * RATE_HZ / Go(duration_s, stroke, from_water=False).pace
    assert reading.rate_per_min == pytest.approx(true, rel=WITHIN), reading
    assert reading.quantity is not None
    assert abs(reading.quantity.value - true) <= 2 * reading.quantity.half_width_95


def test_breaststroke_that_shows_faintly_is_not_told() -> None:
    """Such a rhythm may be that of pull and kick: of ten drawn films five were wrong."""
    reading = read_rate(painted("deck", "breaststroke", 29.0, -1.0, 29.0), "breaststroke")
    assert (reading.sure, reading.why) == (Sure.NOT_FOUND, Why.NOTHING)
    assert reading.rate_per_min is None and reading.quantity is None


@pytest.mark.parametrize("station", ["underwater", "turn-window", "start-side"])
@pytest.mark.parametrize("stroke", STROKES)
def test_a_view_of_two_or_three_cycles_is_within_or_not_told(station: str, stroke: str) -> None:
    span = {"underwater": (2.0, 8.0), "turn-window": (8.0, 16.0), "start-side": (20.0, 28.0)}
    reading = read_rate(painted(station, stroke, 26.0, *span[station]), stroke)
    if reading.rate_per_min is None:
        assert reading.sure is Sure.NOT_FOUND and reading.why is not Why.CLEAR
    else:
        assert reading.rate_per_min == pytest.approx(60 * RATE_HZ, rel=WITHIN)


def test_a_periodogram_from_outside_agrees() -> None:
    """scipy.signal.lombscargle takes the uneven times of the pictures as they are; summed over the
    cells that change most, its highest line up to 90 a minute is the butterfly's cycle."""
    drawn = draw(Scene(3, "butterfly", rate=41.0, seconds=10.0, uneven=0.5, noise=2.0))
    reading = read_rate(drawn.film, "butterfly", drawn.box)
    cells = cells_along(drawn.film, follow(drawn.film, drawn.box)).inside
    lively = cells[:, np.argsort(cells.std(axis=0))[-24:]].astype(float)
    per_min = np.arange(25.0, 90.0, 0.1)
    power = sum(
        scipy.signal.lombscargle(drawn.film.times_s, cell - cell.mean(), per_min * 2 * np.pi / 60)
        for cell in lively.T
    )
    highest = float(per_min[np.argmax(power)])
    assert reading.rate_per_min == pytest.approx(highest, rel=WITHIN)


def test_uneven_pictures_lie_at_their_own_times() -> None:
    """A cell that is a sine of time is one on the even times, too."""
    drawn = draw(Scene(4, seconds=6.0, uneven=0.9))
    cells = cells_along(drawn.film, follow(drawn.film, drawn.box))
    wave = np.sin(2 * np.pi * 0.7 * drawn.film.times_s).astype(np.float32)
    cells.inside[:] = wave[:, None]
    even = at_even_times(cells, drawn.film.times_s)
    at_s = even.begins_s + np.arange(len(even.inside)) / PER_S
    assert np.abs(even.inside[:, 0] - np.sin(2 * np.pi * 0.7 * at_s)).max() < 0.02


def test_the_swimmer_is_followed_from_the_box_both_ways() -> None:
    """Beside another swimmer, with a camera that shakes."""
    drawn = draw(Scene(8, seconds=8.0, shake_px=2.5, neighbour=0.7, speed_px_s=14.0))
    way = follow(drawn.film, drawn.box, 0)
    box = drawn.box
    assert box is not None
    begin = np.array([box.x + box.width / 2, box.y + box.height / 2]) * [240, 136]
    assert np.abs(way.centre_px[0] - begin).max() < 16
    moved = way.centre_px[-1, 0] - way.centre_px[0, 0]
    assert moved == pytest.approx(14.0 * 8.0, abs=25)


def first(film: Film, seconds: float) -> Film:
    kept = film.times_s - film.times_s[0] < seconds
    return Film(film.grey[kept], film.times_s[kept])


def test_why_it_could_not_tell() -> None:
    clear = draw(Scene(6, "butterfly", rate=40.0, seconds=6.0, noise=2.0))
    short = read_rate(first(clear.film, 2.0), "butterfly", clear.box)
    assert (short.sure, short.why) == (Sure.NOT_FOUND, Why.TOO_SHORT)
    few = read_rate(first(clear.film, 3.2), "butterfly", clear.box)  # 2.1 cycles
    assert few.sure is Sure.NOT_FOUND and few.rate_per_min is None
    assert few.why in {Why.TOO_FEW, Why.NOTHING, Why.UNSTEADY}


def test_still_water_tells_nothing() -> None:
    rng = np.random.default_rng(1)
    grey: NDArray[np.uint8] = rng.integers(90, 100, (200, 136, 240)).astype(np.uint8)
    reading = read_rate(Film(grey, np.arange(200) / 25), "freestyle")
    assert reading.sure is Sure.NOT_FOUND


def test_pictures_and_times_go_together() -> None:
    with pytest.raises(ValueError, match="3 times and 2 pictures"):
        film_of_pictures([np.zeros((4, 4), np.uint8)] * 2, np.arange(3.0))
    assert len(frames_to_read(np.arange(0, 4, 1 / 240))) <= 4 * 26 + 1


@pytest.mark.slow
def test_what_is_sure_is_right() -> None:
    """Films by lot: noise, ropes, waves, neighbours, shake, few cycles, low light. The long run
    has 300 (`python -m tests.feedback.rate_read.many`). No limit was set on these."""
    found = counted([read_of(seed) for seed in (*range(1000, 1024), *range(5285, 5345))])
    assert found["sure right"] >= 3, found
    assert found["sure wrong"] == 0, found
    assert found["look right"] > 4 * found["look wrong"], found
    assert found["covered"] > 8 * found["not covered"], found
