"""What is measured of a try-out's sound and picture, with the truth imposed."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import ImageFilter
from scipy import ndimage

from clinics.compute.try_out import Check, Filmed, Measured, Slate, State, gaps_that_differ, judge
from clinics.compute.try_out_picture import (
    Focus,
    Focused,
    Light,
    Lit,
    Steady,
    blur_of,
    focus_of,
    light_of,
    stands_still,
)
from clinics.compute.try_out_sound import Heard, HeardTwice, heard_twice
from tests.clinics.try_out_tools import hall, wall
from tests.hall.sounds import noise_banks, start_signal

RATE_HZ = 8000


def as_int16(sound: NDArray[np.float64]) -> NDArray[np.int16]:
    return (np.clip(sound, -1, 1) * 32767).astype(np.int16)


def a_hall(seed: int, starts_s: tuple[float, ...], length_s: float = 60.0) -> NDArray[np.int16]:
    """Bangs and hiss at 8 kHz, with an unknown signal at these seconds."""
    rng = np.random.default_rng(seed)
    signal, banks = start_signal(rng)[1], noise_banks(rng)
    times = np.arange(round(length_s * RATE_HZ)) / RATE_HZ
    sound = 0.01 * rng.standard_normal(len(times))
    for at_s in rng.uniform(0, length_s - 1, round(length_s)):
        bank = banks[int(rng.integers(len(banks)))][::4]
        first = int(rng.integers(len(bank) - RATE_HZ))
        piece = bank[first : first + round(0.3 * RATE_HZ)] * np.exp(
            -np.arange(round(0.3 * RATE_HZ)) / 600
        )
        begin = round(at_s * RATE_HZ)
        sound[begin : begin + len(piece)] += rng.uniform(0.1, 0.6) * piece
    for at_s in starts_s:
        sound += (
            0.5 * signal.at(times - at_s) * ((times >= at_s) & (times < at_s + signal.length_s))
        )
    return as_int16(0.5 * sound / np.abs(sound).max())


@pytest.mark.parametrize("seed", range(6))
def test_a_signal_nobody_knows_is_found_at_both_starts(seed: int) -> None:
    """Taps are off by up to 0.3 s each; the interval comes out to a millisecond."""
    off_s = np.random.default_rng(seed).uniform(-0.3, 0.3)
    found = heard_twice(a_hall(seed, (12.4, 36.713)), RATE_HZ, 36.713 - 12.4 + off_s)
    assert found.state is Heard.SURE and found.first_s is not None and found.gap_s is not None
    assert found.first_s == pytest.approx(12.4, abs=0.03)
    assert found.gap_s == pytest.approx(24.313, abs=0.002)


@pytest.mark.parametrize("seed", range(6))
def test_a_hall_without_a_signal_is_not_heard(seed: int) -> None:
    assert heard_twice(a_hall(seed, ()), RATE_HZ, 24.3).state is Heard.NOT_FOUND


@pytest.mark.parametrize("seed", range(3))
def test_one_start_alone_is_not_heard_at_both(seed: int) -> None:
    assert heard_twice(a_hall(seed, (12.4,)), RATE_HZ, 24.3).state is Heard.NOT_FOUND


def test_a_beep_that_comes_all_the_time_is_never_sure() -> None:
    """A pace clock's beep every five seconds fits an interval of 25 s, and every other."""
    times = np.arange(60 * RATE_HZ) / RATE_HZ
    beeps = 0.4 * np.sin(2 * np.pi * 1800 * times) * (times % 5.0 < 0.15)
    sound = as_int16(beeps + 0.01 * np.random.default_rng(1).standard_normal(len(times)))
    assert heard_twice(sound, RATE_HZ, 25.0).state is not Heard.SURE


def test_silence_and_a_short_file_are_said() -> None:
    rng = np.random.default_rng(0)
    dither = rng.integers(-1, 2, 60 * RATE_HZ).astype(np.int16)
    assert heard_twice(dither, RATE_HZ, 20.0).state is Heard.SILENT
    assert heard_twice(np.empty(0, dtype=np.int16), RATE_HZ, 20.0).state is Heard.SILENT
    assert heard_twice(a_hall(1, (2.0,), 10.0), RATE_HZ, 20.0).state is Heard.SHORT


# --- pictures -----------------------------------------------------------------------------------


def steps(blur_px: float, *, contrast: float = 120.0, noise: float = 3.0) -> NDArray[np.uint8]:
    """Steps 60 to 100 px apart, drawn by area from eight samples a pixel, then blurred."""
    rng = np.random.default_rng(4)
    edges = np.cumsum(rng.uniform(60, 100, 24))
    fine = np.arange(1920 * 8) / 8
    level = 60.0 + contrast * (np.searchsorted(edges, fine) % 2)
    row = ndimage.gaussian_filter1d(level, 8 * blur_px) if blur_px else level
    picture = np.tile(row.reshape(1920, 8).mean(axis=1), (400, 1))
    return np.clip(picture + noise * rng.standard_normal(picture.shape), 0, 255).astype(np.uint8)


@pytest.mark.parametrize("contrast", [40.0, 120.0])
@pytest.mark.parametrize("blur_px", [1.0, 2.0, 4.0, 6.0, 8.0])
def test_an_imposed_blur_is_measured_whatever_the_contrast(blur_px: float, contrast: float) -> None:
    measured = blur_of(steps(blur_px, contrast=contrast))
    assert measured == pytest.approx(blur_px, rel=0.25)


def test_a_sharp_picture_is_as_sharp_as_its_pixels() -> None:
    measured = blur_of(steps(0.0))
    assert measured is not None and measured < 0.8


@pytest.mark.parametrize(("blur_px", "focus"), [(0, "sharp"), (3, "soft"), (6, "blurred")])
def test_a_pool_out_of_focus_is_told(blur_px: float, focus: str) -> None:
    """Of 1280 pixels: 3 of them are 4.5 of 1920, 6 are 9."""
    picture = np.asarray(wall().filter(ImageFilter.GaussianBlur(blur_px)).convert("L"))
    assert focus_of([picture]).focus is Focus(focus)


def test_the_sharpest_of_several_pictures_counts() -> None:
    pictures = [np.asarray(wall(blur).convert("L")) for blur in (8.0, 0.0, 8.0)]
    assert focus_of(pictures).focus is Focus.SHARP


def test_fog_and_a_cap_have_no_edges() -> None:
    rng = np.random.default_rng(2)
    fog = (140 + 3 * rng.standard_normal((720, 1280))).astype(np.uint8)
    assert focus_of([fog]).focus is Focus.NO_EDGES
    assert light_of([fog]).light is Light.FLAT
    assert light_of([np.full((720, 1280), 6, dtype=np.uint8)]).light is Light.DARK
    assert light_of([np.full((720, 1280), 250, dtype=np.uint8)]).light is Light.BRIGHT
    assert light_of([np.asarray(wall().convert("L"))]).light is Light.FINE


def test_a_camera_that_was_pushed_is_told_from_one_that_stands() -> None:
    rng = np.random.default_rng(3)
    plain = np.asarray(wall().convert("L")).astype(float)

    def noisy(right_px: int) -> NDArray[np.uint8]:
        moved = np.roll(plain, right_px, axis=1) + 4 * rng.standard_normal(plain.shape)
        return np.clip(moved, 0, 255).astype(np.uint8)

    assert stands_still([noisy(0) for _ in range(5)]) is Steady.STILL
    assert stands_still([noisy(0), noisy(0), noisy(64), noisy(64)]) is Steady.MOVED
    assert stands_still([noisy(0)]) is Steady.UNKNOWN
    nonsense = [rng.integers(0, 255, plain.shape).astype(np.uint8) for _ in range(4)]
    assert stands_still(nonsense) is Steady.UNKNOWN


# --- findings -----------------------------------------------------------------------------------


def measured(**other: object) -> Measured:
    told: dict[str, object] = {
        "filmed": Filmed(1920, 1080, "h264", 50.0, False, 60.0),
        "focus": Focused(Focus.SHARP, 1.2, "middle"),
        "light": Lit(Light.FINE, 120.0, 0.0, 0.0),
        "steady": Steady.STILL,
        "has_sound": True,
        "heard": HeardTwice(Heard.SURE, 12.0, 24.31, 0.9, 0.3),
        "taps_s": (1000.0, 1024.2),
        "slate": None,
        "date_s": 988.0,
    }
    return Measured(**(told | other))  # type: ignore[arg-type]


def states(seen: Measured, *, hears_start: bool = True, fixed: bool = True) -> dict[str, tuple]:
    found = judge(seen, hears_start=hears_start, fixed_mount=fixed)
    return {one.check.value: (one.state, one.what) for one in found}


def test_a_good_camera_is_fine_in_all() -> None:
    assert set(states(measured()).values()) == {
        (State.OK, what) for what in ("fine", "sharp", "still", "heard", "starts")
    }


def test_a_walking_camera_need_not_stand_still() -> None:
    assert Check.STEADY.value not in states(measured(steady=Steady.MOVED), fixed=False)
    assert states(measured(steady=Steady.MOVED))["steady"] == (State.LOOK, "moved")


def test_a_clock_four_hours_off_is_found_by_the_starts_and_said() -> None:
    found = judge(measured(date_s=988.0 - 14400), hears_start=True, fixed_mount=True)
    clock = next(one for one in found if one.check is Check.CLOCK)
    assert (clock.state, clock.what) == (State.OK, "starts")
    assert clock.numbers["date_off_s"] == -14400


@pytest.mark.parametrize(
    ("other", "state", "what"),
    [
        ({"slate": Slate(988.0, 0.01)}, State.OK, "slate"),
        ({"heard": HeardTwice(Heard.NOT_FOUND)}, State.LOOK, "date-alone"),
        ({"heard": HeardTwice(Heard.NOT_FOUND), "date_s": 50_000.0}, State.BAD, "date-elsewhere"),
        ({"heard": None, "date_s": None}, State.BAD, "none"),
        ({"heard": None, "taps_s": None}, State.LOOK, "date-alone"),
    ],
)
def test_a_clock_is_found_by_the_best_that_there_is(
    other: dict[str, object], state: State, what: str
) -> None:
    assert states(measured(**other))["clock"] == (state, what)


@pytest.mark.parametrize(
    ("other", "hears", "state", "what"),
    [
        ({"heard": None, "has_sound": False}, True, State.BAD, "no-sound"),
        ({"heard": None, "has_sound": False}, False, State.OK, "not-planned"),
        ({"heard": None, "taps_s": None}, True, State.LOOK, "no-taps"),
        ({"heard": HeardTwice(Heard.SILENT)}, True, State.BAD, "silent"),
        ({"heard": HeardTwice(Heard.NOT_FOUND)}, True, State.BAD, "not-found"),
        ({"heard": HeardTwice(Heard.LOOK, 12.0, 24.3, 0.4, 0.39)}, True, State.LOOK, "heard-look"),
        ({}, False, State.OK, "heard-unplanned"),
    ],
)
def test_a_start_is_asked_of_who_is_to_hear_it(
    other: dict[str, object], hears: bool, state: State, what: str
) -> None:
    assert states(measured(**other), hears_start=hears)["start"] == (state, what)


def test_slow_and_small_pictures_want_a_look() -> None:
    slow = measured(filmed=Filmed(1920, 1080, "h264", 25.0, False, 60.0))
    small = measured(filmed=Filmed(640, 360, "h264", 50.0, False, 60.0))
    assert states(slow)["picture"] == (State.LOOK, "slow")
    assert states(small)["picture"] == (State.LOOK, "small")


def test_a_camera_whose_interval_differs_is_named() -> None:
    assert gaps_that_differ({"a": 24.31, "b": 24.3102, "c": 24.6}) == ["c"]
    assert gaps_that_differ({"a": 24.31}) == [] and gaps_that_differ({"a": 1.0, "b": 1.04}) == []


def test_the_tools_horn_is_heard() -> None:
    sound = hall(30.0, (6.0, 20.0))[::6]
    assert heard_twice(as_int16(sound), RATE_HZ, 14.2).state is Heard.SURE
