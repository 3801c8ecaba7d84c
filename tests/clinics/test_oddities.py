"""What cannot be right about swims taken together."""

from __future__ import annotations

from clinics.compute.oddities import Go, Odd, Oddity, oddities


def go(key: str, start_s: float, swimmer: str = "", **more: int) -> Go:
    return Go(key, swimmer or key, start_s, 40.0, more.get("number", 1), more.get("seen"))


def test_sent_eight_seconds_apart_is_usual() -> None:
    assert oddities([go("a", 0.0), go("b", 8.0), go("c", 16.0)]) == {}


def test_one_start_noted_for_two() -> None:
    found = oddities([go("b", 100.4), go("a", 100.0), go("c", 140.0)])
    assert found == {
        "a": [Odd(Oddity.SAME_START, "b", 0.4)],
        "b": [Odd(Oddity.SAME_START, "a", 0.4)],
    }


def test_nobody_swims_twice_at_once() -> None:
    found = oddities([go("a", 0.0, "Tomas"), go("b", 10.0), go("c", 25.0, "Tomas")])
    assert found == {
        "a": [Odd(Oddity.TWICE, "c", 25.0)],
        "c": [Odd(Oddity.TWICE, "a", 25.0)],
    }
    assert oddities([go("a", 0.0, "Tomas"), go("c", 41.0, "Tomas")]) == {}


def test_one_start_noted_twice_for_one_swimmer_is_said_once() -> None:
    found = oddities([go("a", 0.0, "Tomas"), go("b", 0.3, "Tomas")])
    assert found["a"] == [Odd(Oddity.SAME_START, "b", 0.3)]


def test_a_card_with_another_number() -> None:
    found = oddities([go("a", 0.0, number=12, seen=21), go("b", 20.0, number=14, seen=14)])
    assert found == {"a": [Odd(Oddity.CARD, number=21)]}
