"""The slate: its text, its tone and its ties against imposed truth; what a recording that shows
one becomes; who may have the codes."""

from __future__ import annotations

import tracemalloc
import uuid
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
import zxingcpp
from django.test import Client
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import signal

from clinics.compute.slate import (
    MOST_U_MS,
    PERIOD_MS,
    SlateCode,
    clinic_code_of,
    format_code,
    index_at,
    parse_code,
)
from clinics.compute.slate_matrix import SIDE, matrices
from clinics.compute.slate_ties import Anchor, Reading, SeenTie, heard_ties, seen_tie
from clinics.compute.slate_tones import LENGTH_S, find_tones, rising_tone
from tests.cast import Cast, sign_in
from tests.media.slate_film import Scene, shown_index

RATE_HZ = 8000
codes = st.builds(
    SlateCode,
    clinic=st.text("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ", min_size=4, max_size=4),
    instant_ms=st.integers(0, 36**7 - 1).map(lambda index: index * PERIOD_MS),
    u_ms=st.integers(0, MOST_U_MS),
    tone_u_ms=st.none() | st.integers(0, 34).map(lambda steps: 5 * steps),
)


# --- text ----------------------------------------------------------------------------------------


@given(codes)
def test_a_code_comes_back_from_its_text(code: SlateCode) -> None:
    text = format_code(code)
    assert len(text) == 20 and parse_code(text) == code


@given(codes, st.integers(0, 19), st.sampled_from("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"))
def test_a_text_with_one_wrong_character_is_no_code(code: SlateCode, at: int, other: str) -> None:
    text = format_code(code)
    changed = text[:at] + other + text[at + 1 :]
    assert changed == text or parse_code(changed) is None


@given(st.lists(st.booleans(), min_size=20, max_size=20), codes)
def test_a_mixture_of_two_neighbours_is_one_of_them_or_none(
    picks: list[bool], code: SlateCode
) -> None:
    following = replace(code, instant_ms=(code.instant_ms + PERIOD_MS) % (36**7 * PERIOD_MS))
    both = zip(format_code(code), format_code(following), picks, strict=True)
    mixed = parse_code("".join(one if pick else other for one, other, pick in both))
    assert mixed in (None, code, following)


@pytest.mark.parametrize("text", ["", "S1", "S1" + "é" * 18, "https://example.org/1", "S2" * 10])
def test_what_is_no_slate_is_refused(text: str) -> None:
    assert parse_code(text) is None


@pytest.mark.parametrize(("instant_ms", "u_ms"), [(1, 5), (0, -1), (0, MOST_U_MS + 1)])
def test_a_code_that_cannot_be_right_is_not_written(instant_ms: int, u_ms: int) -> None:
    with pytest.raises(ValueError, match="must lie between|whole multiples"):
        format_code(SlateCode("K2TQ", instant_ms, u_ms))


def test_modules_are_read_by_another_program() -> None:
    """zxing-cpp as the witness of what segno encoded and the page draws."""
    first = index_at(1_794_652_800_000.0)
    for n, packed in enumerate(matrices("K2TQ", first, 5, 12, None)):
        bits = np.array([int(bit) for digit in packed for bit in f"{int(digit, 16):04b}"])
        black = bits[: SIDE * SIDE].reshape(SIDE, SIDE).repeat(6, axis=0).repeat(6, axis=1)
        luma = np.pad(255 * (1 - black), 24, constant_values=255).astype(np.uint8)
        [found] = zxingcpp.read_barcodes(luma)
        assert found.ec_level == "M"
        assert parse_code(found.text) == SlateCode("K2TQ", (first + n) * PERIOD_MS, 12)


# --- the tone ------------------------------------------------------------------------------------


def with_tones(noise: NDArray[np.float64], at_s: list[float], loud: float) -> NDArray[np.float64]:
    """Tones at any instants: written at 48 kHz, then brought to the recording's rate by scipy."""
    dense = np.zeros(6 * len(noise))
    tone = rising_tone(6 * RATE_HZ)
    for one in at_s:
        begin = round(one * 6 * RATE_HZ)
        dense[begin : begin + len(tone)] += loud * tone
    return noise + signal.resample_poly(dense, 1, 6)


def hall(seconds: float, seed: int) -> NDArray[np.float64]:
    """Coloured noise, voices and whistles (steady, trilled and gliding up and down), bursts."""
    rng = np.random.default_rng(seed)
    n = round(seconds * RATE_HZ)
    sound = signal.lfilter([1], [1, -0.9], rng.normal(0, 0.4, n))
    t = np.arange(n) / RATE_HZ
    for begin in np.arange(0.5, seconds - 1, 0.9):
        low, high = rng.uniform(500, 1500), rng.uniform(1500, 3600)
        pair = (low, high) if rng.random() < 0.5 else (high, low)
        length = rng.uniform(0.15, 0.7)
        inside = (t >= begin) & (t < begin + length)
        glide = signal.chirp(t[inside] - begin, pair[0], length, pair[1])
        trill = 1 + 0.6 * np.sin(2 * np.pi * rng.uniform(10, 40) * t[inside])
        sound[inside] += rng.uniform(0.5, 3) * (glide if rng.random() < 0.7 else trill * glide)
    return sound


def test_tones_in_a_loud_hall_are_found_to_a_tenth_of_a_millisecond() -> None:
    truth = [20.123_45, 21.123_45, 22.123_45]
    found = find_tones(with_tones(hall(40, 1), truth, 1.5), RATE_HZ)
    assert [round(media_s) for media_s, _ in found] == [20, 21, 22]
    assert np.max(np.abs(np.array([media_s for media_s, _ in found]) - truth)) < 1e-4
    assert find_tones((8000 * hall(40, 1)).astype(np.int16), RATE_HZ) == []


def test_tones_as_loud_as_the_noise_in_their_band_are_found() -> None:
    noise = np.random.default_rng(5).normal(0, 1, 60 * RATE_HZ)
    found = find_tones(with_tones(noise, [30.0, 31.0, 32.0], 0.5), RATE_HZ)  # -9 dB
    assert np.allclose([media_s for media_s, _ in found], [30, 31, 32], atol=2e-4)


def test_a_tone_that_a_wall_throws_back_louder_is_timed_by_what_comes_straight() -> None:
    sound = with_tones(np.random.default_rng(2).normal(0, 0.05, 4 * RATE_HZ), [1.0, 2.0], 0.8)
    echo = np.roll(sound, round(0.011 * RATE_HZ))
    found = find_tones(sound + 1.2 * echo, RATE_HZ)
    assert np.allclose([media_s for media_s, _ in found], [1, 2], atol=1e-3)


def test_halls_hold_no_tone_and_cost_little_memory() -> None:
    """A hall for five minutes, with some 330 whistles and voices that glide."""
    for seed in range(1):
        sound = (5000 * hall(300, 10 + seed)).astype(np.int16)
        tracemalloc.start()
        assert find_tones(sound, RATE_HZ) == []
        assert tracemalloc.get_traced_memory()[1] < 30e6
        tracemalloc.stop()


def test_tones_at_the_very_edges_and_across_blocks_are_found() -> None:
    truth = [0.0, 1.0, 2.0, 6.75, 7.75, 8.75, 9.75]
    sound = with_tones(np.random.default_rng(3).normal(0, 0.02, 10 * RATE_HZ), truth, 0.5)
    found = [media_s for media_s, _ in find_tones(sound, RATE_HZ)]
    for one in truth:
        assert min(abs(one - media_s) for media_s in found) < 1e-3
    assert find_tones(np.zeros(100, dtype=np.int16), RATE_HZ) == []
    assert find_tones(np.zeros(0, dtype=np.int16), RATE_HZ) == []
    assert len(rising_tone(RATE_HZ)) == LENGTH_S * RATE_HZ
    with pytest.raises(ValueError):
        rising_tone(6000)


# --- ties ----------------------------------------------------------------------------------------


def readings_of(scene: Scene, fps: float, phone_ms: float, rng: np.random.Generator):
    """What is read of two seconds: a tenth of the pictures not, and half of those in which the
    code changes while the shutter is open."""
    begin_s = rng.uniform(0, 1)
    for frame in range(round(fps * begin_s), round(fps * (begin_s + 2))):
        media_s = frame / fps
        middle = scene.zero_ms + 1000 * media_s + (scene.exposure_begins + 0.5) * scene.exposure_ms
        at = [middle + phone_ms + share * scene.exposure_ms for share in (-0.4, 0.0, 0.4)]
        shown = [shown_index(scene, one) for one in at]
        if rng.random() < 0.1 or (shown[0] != shown[2] and rng.random() < 0.5):
            continue
        yield Reading(frame, media_s, SlateCode("K2TQ", shown[1] * PERIOD_MS, 12))


@pytest.mark.parametrize("fps", [24.0, 25.0, 30_000 / 1001, 50.0, 60_000 / 1001, 120.0])
def test_the_stated_uncertainty_holds_the_truth(fps: float) -> None:
    """Phones wrong by up to 12 ms, displays one refresh early or late, shutters open for any time
    before, around or after the picture's own. GUM (JCGM 100:2008, 6.3.3): twice the standard
    uncertainty holds about 95 %."""
    rng = np.random.default_rng(int(fps))
    off, u_ms = [], []
    for _ in range(60):
        scene = Scene(
            zero_ms=1_794_652_800_000.0 + rng.uniform(0, 1e6),
            display_late_ms=rng.uniform(-1000 / 60, 1000 / 60),
            exposure_ms=rng.uniform(2, 1000 / fps),
            exposure_begins=rng.choice([-1.0, -0.5, 0.0]),
            refresh_ms=1000 / rng.choice([60, 59.9, 90, 120]),
        )
        readings = list(readings_of(scene, fps, rng.uniform(-12, 12), rng))
        tie = seen_tie(readings, lambda frame: frame / fps, slow_motion=1.0)
        assert isinstance(tie, SeenTie)
        off.append(tie.zero_ms - scene.zero_ms)
        u_ms.append(tie.u_ms)
    inside = np.mean(np.abs(off) <= 2 * np.array(u_ms))
    assert inside >= 0.9, inside
    assert np.median(u_ms) <= 3 * np.median(np.abs(off))
    assert np.median(u_ms) < (20 if fps < 40 else 15)


def test_many_changes_tell_more_than_one() -> None:
    """The display and the shutter set aside: at 25 pictures a second the changes alone pin the
    offset to a fifth of a picture, although each lies in one."""
    scene = Scene(zero_ms=1_794_652_800_012.3, refresh_ms=0.5, exposure_ms=0.1)
    readings = [
        Reading(n, n / 25, SlateCode("K2TQ", shown_index(scene, scene.zero_ms + 40 * n) * 163, 0))
        for n in range(50)
    ]
    tie = seen_tie(readings, lambda frame: frame / 25, slow_motion=1.0)
    assert isinstance(tie, SeenTie) and abs(tie.zero_ms - scene.zero_ms) < 8


def test_a_few_strange_readings_do_not_move_a_tie() -> None:
    rng = np.random.default_rng(4)
    scene = Scene(zero_ms=1_794_652_800_000.0)
    readings = list(readings_of(scene, 25, 0.0, rng))
    plain = seen_tie(readings, lambda frame: frame / 25, slow_motion=1.0)
    strange = replace(readings[9].code, instant_ms=readings[9].code.instant_ms + 50 * PERIOD_MS)
    odd = seen_tie(
        [*readings[:9], replace(readings[9], code=strange), *readings[10:]],
        lambda frame: frame / 25,
        slow_motion=1.0,
    )
    assert isinstance(plain, SeenTie) and isinstance(odd, SeenTie)
    assert abs(plain.zero_ms - odd.zero_ms) < 3 and odd.score < 1


def test_a_tone_counts_only_where_its_second_is_told() -> None:
    zero_ms = 1_794_652_800_400.0  # tones at media 0.6, 1.6, … and 3 ms on their way
    tones = [(0.6031, 0.8), (1.603, 0.7), (2.6029, 0.9)]
    assert heard_ties(tones, []) == []
    far = Anchor(2000.0, zero_ms + 2_000_000, 10.0, 25.0)  # half an hour away: 0.3 s by rate
    assert heard_ties(tones, [far]) == []
    vague = Anchor(1.0, zero_ms + 1000, 400.0, 25.0)
    assert heard_ties(tones, [vague]) == []
    elsewhere = Anchor(1.0, zero_ms + 1300, 10.0, 25.0)  # the tone of something else
    assert heard_ties(tones, [elsewhere]) == []
    near = Anchor(1.0, zero_ms + 1020, 15.0, 25.0)
    [tie] = heard_ties(tones, [near, far])
    assert tie.tones == 3
    assert abs(tie.instant_ms - 1000 * tie.media_s - zero_ms) < 0.2
    assert 25 <= tie.u_ms < 26


# --- the page's codes ----------------------------------------------------------------------------


def test_the_codes_asked_for_are_the_clinic_s(client: Client, cast: Cast) -> None:
    sign_in(client, cast.crew)
    url = reverse("clinics:slate-codes", args=[cast.clinic.pk])
    told = client.get(url, {"u_ms": 15, "tone_u_ms": 40})
    assert told.status_code == 200 and "private" in told.headers["Cache-Control"]
    body = told.json()
    expected = matrices(clinic_code_of(cast.clinic.pk), body["first"], 128, 15, 40)
    assert tuple(body["codes"]) == expected
    now = client.get(reverse("clinics:slate-time", args=[cast.clinic.pk]))
    assert now.headers["Cache-Control"] == "no-store"
    behind = now.json()["now_ms"] - body["first"] * PERIOD_MS
    assert 0 <= behind < 129 * PERIOD_MS
    block = body["first"] // 128 + 1
    assert client.get(url, {"block": block, "u_ms": 15}).json()["first"] == block * 128


@pytest.mark.parametrize(
    "asked", [{"block": "5"}, {"block": "x"}, {"u_ms": "-1"}, {"u_ms": "1296"}, {"tone_u_ms": "-5"}]
)
def test_other_codes_are_not_given(client: Client, cast: Cast, asked: dict[str, str]) -> None:
    sign_in(client, cast.crew)
    url = reverse("clinics:slate-codes", args=[cast.clinic.pk])
    assert client.get(url, asked).status_code == 422


def test_who_asks_too_often_has_to_wait(client: Client, cast: Cast, monkeypatch) -> None:
    monkeypatch.setattr("clinics.views.slate.ASKED_AT_MOST", 3)
    monkeypatch.setattr("clinics.views.slate.ASKED_WITHIN", timedelta(minutes=1))
    sign_in(client, cast.crew)
    url = reverse("clinics:slate-codes", args=[cast.clinic.pk])
    answers = [client.get(url) for _ in range(4)]
    assert [one.status_code for one in answers] == [200, 200, 200, 429]
    assert 0 < int(answers[-1].headers["Retry-After"]) <= 60


def test_clinics_have_codes_of_their_own() -> None:
    assert len({clinic_code_of(uuid.UUID(int=n)) for n in range(300)}) == 300
