"""Windows from what moved, and placing a silent view by who passed: the truth is imposed."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pytest

from clinics.compute.motion import Passing, Seen, passes_seen, place_by_passing, window_from_motion


def passing(from_s: float, to_s: float, *, strength: float = 0.5, u_s: float = 0.25) -> Seen:
    return Seen(from_s, to_s, u_s, strength, 0.5)


# --- what passed ---------------------------------------------------------------------------------


def energies(active: dict[int, list[int]], count: int = 60) -> tuple[np.ndarray, np.ndarray]:
    """Key frames every half second; the named stripes move at the named key frames."""
    rng = np.random.default_rng(1)
    energy = (rng.random((count, 16)) * 0.002).astype(np.float32)
    for number, columns in active.items():
        energy[number, columns] += 0.08
    return np.arange(count) * 0.5, energy


def test_a_run_of_moving_key_frames_is_one_passing() -> None:
    at_s, energy = energies({20: [0, 1], 21: [2, 3], 23: [8, 9], 24: [14, 15]})  # 22 is quiet
    [seen] = passes_seen(at_s, energy)
    assert (seen.from_s, seen.to_s) == (9.75, 11.75)  # since key frame 19, until 24
    assert seen.u_s == 0.25 and 0 < seen.x_share < 1


def test_a_whole_picture_that_changes_makes_what_is_beside_it_unclear() -> None:
    everywhere = list(range(16))
    at_s, energy = energies({20: [3, 4], 21: everywhere, 40: [3, 4], 41: [5, 6]})
    assert [seen.from_s for seen in passes_seen(at_s, energy)] == [19.75]


def test_too_few_key_frames_show_nothing() -> None:
    at_s, energy = energies({3: [1, 2]}, count=6)
    assert passes_seen(at_s, energy) == []


# --- windows -------------------------------------------------------------------------------------


def test_one_thing_that_passed_alone_is_the_window() -> None:
    """Wider by half a key-frame interval on both sides."""
    seen = [passing(40, 44), passing(101, 105.5), passing(160, 164)]
    assert window_from_motion(seen, 100, 104, 92, 112) == (100.75, 105.75)


@pytest.mark.parametrize(
    ("seen", "why"),
    [
        ([], "nothing passed"),
        ([passing(101, 105), passing(108, 111)], "two passed: whose is it?"),
        ([passing(89, 95)], "it began before what may be"),
        ([passing(94, 97)], "it is not where it is expected"),
        ([passing(99, 100.2), passing(100.6, 102, strength=0.4)], "two parts"),
        ([passing(93, 111)], "much longer than a swimmer takes"),
        ([passing(101, 105, u_s=2.0)], "key frames 4 s apart are of no use for 4 s"),
    ],
)
def test_what_is_not_clear_is_no_window(seen: list[Seen], why: str) -> None:
    assert window_from_motion(seen, 100, 104, 92, 112) is None, why


def test_a_weak_flicker_beside_it_does_not_matter() -> None:
    seen = [passing(101, 105), passing(109, 109.5, strength=0.05)]
    assert window_from_motion(seen, 100, 104, 92, 112) == (100.75, 105.25)


# --- placing -------------------------------------------------------------------------------------


@dataclass
class Afternoon:
    """A silent view of a start log, with everything that goes wrong. `clinic = zero + media`."""

    seed: int
    swims: int = 30
    passes_s: tuple[float, ...] = (15.0,)
    missed: float = 0.1
    strangers: int = 8
    pace_common: float = 0.0
    pace_each: float = 0.08
    apart_s: tuple[float, float] = (31.0, 52.0)
    seen: list[float] = field(init=False)
    expected: list[tuple[str, float, float]] = field(init=False)
    zero_s: float = field(init=False)
    duration_s: float = field(init=False)

    def __post_init__(self) -> None:
        rng = np.random.default_rng(self.seed)
        starts = 37_000 + np.cumsum(rng.uniform(*self.apart_s, self.swims))
        share = np.hypot(self.pace_common, self.pace_each)
        self.expected = [
            (f"swim {number}", float(start + after), float(share * after))
            for number, start in enumerate(starts)
            for after in self.passes_s
        ]
        common = 1 + rng.normal(0, self.pace_common)
        self.zero_s = float(starts[0] - rng.uniform(20, 120))
        self.duration_s = float(starts[-1] - self.zero_s + 70)
        passed = [
            start + after * (common + rng.normal(0, self.pace_each)) - self.zero_s
            for start in starts
            for after in self.passes_s
            if rng.random() > self.missed
        ]
        self.seen = [*passed, *rng.uniform(0, self.duration_s, self.strangers)]

    def placed(self, **more: object) -> Passing | None:
        return place_by_passing(
            self.seen,
            self.expected,
            duration_s=self.duration_s,
            **more,  # type: ignore[arg-type]
        )

    def in_other_order(self) -> Passing | None:
        """The same view against a start log whose intervals came in another order."""
        rng = np.random.default_rng(self.seed + 1000)
        first = [row for row in self.expected if row[0] == "swim 0"][0][1]
        begins = {key: at for key, at, _ in reversed(self.expected)}
        gaps = rng.permutation(np.diff(list(reversed(begins.values()))))
        fresh = dict(
            zip(reversed(begins), first + np.concatenate([[0], np.cumsum(gaps)]), strict=1)
        )
        other = [(key, at - begins[key] + fresh[key], u_s) for key, at, u_s in self.expected]
        return place_by_passing(self.seen, other, duration_s=self.duration_s)


CASES = {
    "one pass each": {},
    "both ways": {"passes_s": (12.0, 33.0)},
    "all paces 15 % wrong": {"pace_common": 0.15},
    "many strangers": {"strangers": 45},
    "a third not seen": {"missed": 0.33, "strangers": 3},
}


@pytest.mark.parametrize("case", CASES)
def test_a_silent_view_is_placed_within_what_it_says(case: str) -> None:
    """Ten afternoons each: seldom none, never one that is wrong by three times its uncertainty."""
    placed = 0
    for seed in range(10):
        day = Afternoon(seed, **CASES[case])  # type: ignore[arg-type]
        found = day.placed()
        if found is None or found.rivals:
            continue
        placed += 1
        assert abs(found.zero_s - day.zero_s) < 3 * found.u_s
        assert 0.4 < found.u_s < 6 and found.false_match_p <= 1e-3
        assert found.matched >= 5 and found.of == len(day.expected)
        assert {key for key, _, _ in found.pairs} <= {key for key, _, _ in day.expected}
    assert placed >= 8


@pytest.mark.parametrize("case", CASES)
def test_a_start_log_in_another_order_is_not_accepted(case: str) -> None:
    for seed in range(10):
        day = Afternoon(seed, **CASES[case])  # type: ignore[arg-type]
        found = day.in_other_order()
        assert found is None or found.rivals


def test_one_swimmer_missing_does_not_move_the_place() -> None:
    day = Afternoon(3, missed=0.0, strangers=0)
    whole = day.placed()
    del day.seen[12]
    without = day.placed()
    assert whole is not None and without is not None
    assert without.zero_s == pytest.approx(whole.zero_s, abs=0.3)
    assert "swim 12" not in {key for key, _, _ in without.pairs}


def test_even_intervals_are_shown_and_not_decided() -> None:
    """Starts each minute fit a minute later nearly as well: both places, and no decision."""
    day = Afternoon(5, apart_s=(60.0, 60.5), missed=0.1)
    found = day.placed()
    assert found is not None and found.rivals
    places = sorted([found.zero_s, *(rival.zero_s for rival in found.rivals)])
    assert any(abs(place - day.zero_s) < 3 for place in places)
    assert min(np.diff(places)) == pytest.approx(60, abs=3)


def test_a_file_date_puts_the_right_place_first() -> None:
    day = Afternoon(5, apart_s=(60.0, 60.5), missed=0.1)
    found = day.placed(prior=(day.zero_s + 4.0, 5.0))
    assert found is not None
    assert found.zero_s == pytest.approx(day.zero_s, abs=3 * found.u_s)


def test_too_little_is_no_place() -> None:
    day = Afternoon(6, swims=4)
    assert day.placed() is None
    assert place_by_passing([], day.expected) is None
