"""One notation for measures: figures with ±, and words."""

from __future__ import annotations

from django.utils import translation

from feedback.compute.measuring.measure import Measure, Unit
from feedback.compute.measuring.uncertain import Quantity, Shape, Source, exact
from feedback.views.measure_words import in_short, name_of, sure_words, told


def known(value: float, u: float) -> Quantity:
    return Quantity(value, {Source("one", Shape.BELL, u): 1.0})


def plain(text: str) -> str:
    return text.replace("\u00a0", " ")


def test_a_value_stands_with_its_half_width_and_unit_on_both_sides() -> None:
    assert plain(told(known(9.8234, 0.06), Unit.M)) == "9.82 m ± 0.12 m"
    assert plain(told(known(41.3, 0.4), Unit.DEG)) == "41.3° ± 0.8°"


def test_the_readers_language_decides_on_the_decimal_sign() -> None:
    with translation.override("fr"):
        assert plain(told(known(9.8234, 0.06), Unit.M)) == "9,82 m ± 0,12 m"


def test_what_is_rough_is_said_with_about_and_what_is_too_unsure_has_no_figure() -> None:
    assert plain(told(known(2.0, 0.2), Unit.S)) == "about 2.0 s ± 0.4 s"
    unsure = told(known(2.0, 2.0), Unit.S)
    assert unsure == "too unsure to say"


def test_a_count_is_what_it_is() -> None:
    assert told(Measure("stroke-count", exact(17), 1)) == "17"
    assert sure_words(exact(17)) == "counted"


def test_a_measure_brings_its_own_unit() -> None:
    assert plain(told(Measure("stroke-rate", known(48.0, 0.25), 1))) == "48.0 /min ± 0.5 /min"


def test_swimmers_read_the_value_without_a_half_width() -> None:
    assert plain(in_short(known(9.8234, 0.06), Unit.M)) == "9.82 m"
    assert plain(in_short(known(2.03, 0.2), Unit.S)) == "about 2.0 s"
    assert sure_words(known(9.8, 0.06)) == "sure"
    assert sure_words(known(2.0, 0.2)) == "a rough figure"


def test_a_name_says_which_length_wall_or_distance() -> None:
    assert plain(name_of(Measure("time-to-distance", exact(4), 0, 10.0))) == "Time to 10 m"
    assert name_of(Measure("stroke-rate", exact(4), 2)) == "Stroke rate, length 2"
    assert name_of(Measure("turn-time", exact(4), 1)) == "Turn, wall 1"
    assert name_of(Measure("block-time", exact(4))) == "Block time"
