"""Where points, bars and ticks of pictures of measures stand."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from feedback.compute.measuring import plots
from feedback.compute.measuring.swim_marks import Course
from feedback.compute.measuring.time_spent import Part, time_spent
from feedback.compute.measuring.uncertain import Quantity, Shape, Source
from feedback.compute.measuring.whole import Measured, measure_swim
from tests.feedback.measuring.swims import TRUTH, Cameras, E


def known(value: float, u: float) -> Quantity:
    return Quantity(value, {Source(f"{value}", Shape.BELL, u): 1.0})


def test_every_point_stands_where_the_ticks_say() -> None:
    rng = np.random.default_rng(7)
    for _draw in range(200):
        size = 10.0 ** rng.uniform(-2, 3)
        values = [known(float(v), 0.01 * size) for v in rng.uniform(size, 2 * size, 8)]
        drawn = plots.chart(values)
        assert drawn is not None
        assert 3 <= len(drawn.ticks) <= plots.MOST_TICKS + 2
        low, high = drawn.ticks[0], drawn.ticks[-1]
        assert (low.y, high.y) == (100.0, 0.0)
        for dot in drawn.dots:
            value = low.value + (100 - dot.y) / 100 * (high.value - low.value)
            assert value == pytest.approx(values[dot.place].value, abs=1e-4 * size)
            assert 0 <= dot.high_y < dot.y < dot.low_y <= 100
            half = (dot.low_y - dot.y) / 100 * (high.value - low.value)
            assert half == pytest.approx(values[dot.place].half_width_95, rel=0.01)


def test_ticks_are_told_apart_with_the_decimals_given() -> None:
    for low, high in ((4.43, 5.37), (0.001, 0.0013), (0.0, 1.0), (1990.0, 2650.0), (-1.0, 2.0)):
        drawn = plots.chart([Quantity(low), Quantity(high)])
        assert drawn is not None
        texts = [f"{tick.value:.{drawn.decimals}f}" for tick in drawn.ticks]
        assert len(set(texts)) == len(texts)
        assert [float(text) for text in texts] == pytest.approx([t.value for t in drawn.ticks])


def test_what_is_too_unsure_is_left_out_and_counted() -> None:
    drawn = plots.chart([known(5.0, 0.1), known(5.0, 4.0), known(5.2, 0.1)])
    assert drawn is not None
    assert [dot.place for dot in drawn.dots] == [0, 2]
    assert drawn.left_out == (1,)
    assert drawn.ticks[-1].value < 6
    assert plots.chart([known(5.0, 4.0)]) is None and plots.chart([]) is None


def test_names_below_are_few_and_the_last_is_among_them() -> None:
    for count, most in itertools.product(range(1, 60), range(1, 5)):
        named = plots.named_places(count, most)
        assert len(named) <= most and named[-1] == count - 1


def test_parts_of_a_bar_follow_each_other_and_fill_it() -> None:
    shares = plots.bar([1.12, 6.0, 12.0, 1.17])
    for one, after in itertools.pairwise(shares):
        assert after.x == pytest.approx(one.x + one.percent, abs=0.002)
    assert shares[-1].x + shares[-1].percent == pytest.approx(100, abs=0.002)
    with pytest.raises(ValueError, match="something"):
        plots.bar([])


MORE = (
    *TRUTH,
    (E.HANDS_TOUCH_WALL, 27.4, None, "window"),
    (E.FEET_LEAVE_WALL, 28.5, None, "window"),
)


def measured(*without: E, course: Course | None = None) -> Measured:
    marks, zero = Cameras().film(truth=MORE)
    kept = [one for one in marks if one.event not in without]
    return measure_swim(kept, course or Course(25.0, 75.0, "freestyle", "block"), zero)


def test_the_time_of_a_swim_goes_into_parts_that_sum_to_its_split() -> None:
    spent = time_spent(measured())
    assert spent is not None and spent.until_m == 50.0
    parts = dict(spent.parts)
    assert list(parts) == [Part.START, Part.UNDER_WATER, Part.SWIMMING, Part.TURN]
    assert sum(one.value for one in parts.values()) == pytest.approx(spent.whole.value, abs=1e-9)
    # of the truth: entry 1.12; 4.62 - 1.12 and 18.05 - 15.72 under water; 15.72 - 14.55 at the wall
    assert parts[Part.START].value == pytest.approx(1.12, abs=0.03)
    assert parts[Part.UNDER_WATER].value == pytest.approx(3.5 + 2.33, abs=0.06)
    assert parts[Part.TURN].value == pytest.approx(1.17, abs=0.03)
    assert spent.whole.value == pytest.approx(27.4, abs=0.03)


def test_what_is_not_marked_is_not_guessed() -> None:
    together = time_spent(measured(E.FIRST_ENTRY))
    assert together is not None
    assert together.parts[0][0] is Part.START_AND_UNDER_WATER
    assert time_spent(measured(E.BREAKOUT)) is None
    first = time_spent(measured(E.FEET_LEAVE_WALL))  # nobody knows when the turn ended
    assert first is not None and first.until_m == 25.0
    assert time_spent(measured(E.HANDS_TOUCH_WALL, E.FEET_TOUCH_WALL, E.FEET_LEAVE_WALL)) is None
