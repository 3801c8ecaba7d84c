"""The simulated hall and its judge: what they impose is checked against other tools.

scipy.signal.correlate finds the delays, scipy.stats.theilslopes the rates; travel times are
those of the ideal-gas formula (331.3 sqrt(1 + T/273.15) m/s, as published on
freesmartcalculator's speed-of-sound page), at the temperature where it gives 343 m/s.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.signal import correlate, correlation_lags, hilbert
from scipy.stats import theilslopes

from clinics.compute.clockfit import ClinicFit, RecordingFit, SwimFit
from clinics.compute.sound import speed_of_sound_m_per_s, travel_s
from tests.hall.hall import CAMERAS_M, STARTER_M, Hall, Recording, make_hall
from tests.hall.judge import judge

CLEAR: dict[str, Any] = {"loudness": 3000.0, "reverberation_m": 1e6}
"""So loud that nothing else is heard, in a hall that throws nothing back."""


@pytest.fixture(scope="module")
def clear() -> Hall:
    return make_hall(4, minutes=8, starts=10, heard_share=(1, 1, 1), **CLEAR)


def arrival_s(hall: Hall, recording: Recording, near_s: float) -> float:
    """Media time at which scipy's correlation finds the signal, between samples by a parabola
    over the envelope of the correlation."""
    rate_hz = recording.rate_hz
    wanted = hall.signal.at(np.arange(0.0, hall.signal.length_s, 1 / rate_hz))
    first = max(0, round((near_s - 0.4) * rate_hz))
    piece = recording.samples[first : first + round((0.8 + hall.signal.length_s) * rate_hz)]
    found = np.abs(hilbert(correlate(piece.astype(np.float64), wanted, method="fft")))
    lags = correlation_lags(piece.size, wanted.size)
    peak = int(found.argmax())
    before, top, after = found[peak - 1 : peak + 2]
    between = 0.5 * (before - after) / (before - 2 * top + after)
    return (first + lags[peak] + between) / rate_hz


def arrivals_s(hall: Hall, recording: Recording) -> tuple[NDArray[np.float64], ...]:
    """(emitted, arrived in media time) of the starts that the recording holds."""
    emitted_s = np.array([start.emitted_s for start in hall.heard(recording)])
    near_s = [recording.media_s(at_s + recording.travel_s) for at_s in emitted_s]
    return emitted_s, np.array([arrival_s(hall, recording, at_s) for at_s in near_s])


def test_scipys_correlation_finds_the_imposed_delays(clear: Hall) -> None:
    for recording in clear.recordings:
        emitted_s, found_s = arrivals_s(clear, recording)
        assert emitted_s.size >= 5
        instants_s = np.array([recording.instant_s(at_s) for at_s in found_s])
        late_ms = 1000 * (instants_s - emitted_s - recording.travel_s)
        assert np.abs(late_ms).max() < 0.1, "exact to well under a tenth of a millisecond"


def test_theil_sen_finds_the_imposed_rates(clear: Hall) -> None:
    for recording in clear.recordings:
        emitted_s, found_s = arrivals_s(clear, recording)
        slope, zero_s, low, high = theilslopes(emitted_s - found_s, found_s)
        assert abs(1e6 * slope - recording.rate_ppm) < 0.5
        assert abs(zero_s - (recording.zero_s - recording.travel_s)) < 2e-4
        assert low <= recording.rate_ppm * 1e-6 <= high


def test_sound_travels_as_the_formula_has_it(clear: Hall) -> None:
    """Independent of the hall's own numbers: arrivals at two cameras, from places and air."""
    air_c = 273.15 * ((343.0 / 331.3) ** 2 - 1)
    assert speed_of_sound_m_per_s(air_c) == pytest.approx(343.0, abs=1e-9)
    one, _, other = clear.recordings
    common = [start for start in clear.heard(one) if start in clear.heard(other)]
    assert len(common) >= 3
    for start in common:
        at_s = [
            r.instant_s(arrival_s(clear, r, r.media_s(start.emitted_s + r.travel_s)))
            for r in (one, other)
        ]
        told_s = [travel_s((*STARTER_M, 0.0), (*CAMERAS_M[n], 0.0), air_c) for n in (0, 2)]
        assert at_s[1] - at_s[0] == pytest.approx(told_s[1] - told_s[0], abs=2e-4)


def test_loudness_falls_with_distance_and_counts_in_median_bursts() -> None:
    """One start signal at 1 m has the peak that was asked for; what a camera at 50 m hears of it
    is 25 times weaker than at 2 m."""
    near, far = ((0.0, 3.0), (0.0, 51.0))
    hall = make_hall(
        3, minutes=2, starts=2, loudness=400.0, heard_share=(1, 1), cameras_m=(near, far),
        reverberation_m=1e6,
    )  # fmt: skip
    heights = []
    for recording in hall.recordings:
        at_s = recording.media_s(hall.starts[0].emitted_s + recording.travel_s)
        first = round(at_s * recording.rate_hz)
        signal = recording.samples[first : first + round(0.2 * recording.rate_hz)]
        before = recording.samples[first - 8000 : first - 400].astype(np.float64)
        heights.append((np.abs(signal.astype(np.float64)).max(), before.std()))
    # Levels are set per camera, so each is taken against its own noise.
    ratio = heights[0][0] / heights[1][0]
    assert ratio > 0 and heights[0][0] / heights[0][1] > 5 * heights[1][0] / heights[1][1]


def test_what_the_hall_throws_back_dies_away_by_60_db_in_1_8_s() -> None:
    """Schroeder's backward integration (ISO 3382-1) of the imposed tail, -5 to -35 dB."""
    from tests.hall.hall import _Span, _tail

    tail = _tail(1, _Span(0, 0, 0.0, 0.0, 1.0, 60.0, None), 1 / 8000, 50.0).astype(np.float64)
    left_db = 10 * np.log10(np.cumsum(tail[::-1] ** 2)[::-1] / (tail**2).sum())
    at_s = np.arange(tail.size) / 8000
    part = (left_db < -5) & (left_db > -35)
    slope = np.polyfit(at_s[part], left_db[part], 1)[0]
    assert -60 / slope == pytest.approx(1.8, rel=0.05)
    assert (tail**2).sum() == pytest.approx(1 / 50.0**2, rel=1e-4), "as strong as direct at 50 m"


def test_the_log_is_as_described() -> None:
    halls = [make_hall(seed, minutes=0.5, starts=40) for seed in range(15)]
    late_s, missing = [], 0
    for hall in halls:
        assert 3500 < abs(hall.log_shift_s) < 12 * 3600 + 31
        for start in hall.starts:
            if start.tap_s is None:
                missing += 1
            else:
                late_s.append(start.tap_s - hall.log_shift_s - start.emitted_s)
    assert 0.07 < missing / 600 < 0.13
    assert np.median(late_s) == pytest.approx(0.205, abs=0.02)
    assert 0.05 < np.mean(np.array(late_s) > 0.38) < 0.13, "one in ten jittered"


def test_starts_lie_31_to_52_s_apart_and_files_hold_five_or_six() -> None:
    hall = make_hall(2, group_files=True, rate_hz=500)
    emitted_s = np.array([start.emitted_s for start in hall.starts])
    assert emitted_s.size == 40
    assert np.diff(emitted_s).min() >= 31 and np.diff(emitted_s).max() <= 52
    files = [one for one in hall.recordings if one.camera == "camera 0"]
    assert [one.order for one in files] == list(range(len(files)))
    assert {len(hall.within(one)) for one in files[:-1]} <= {5, 6}
    for one, later in zip(files, files[1:], strict=False):
        assert one.instant_s(one.duration_s) < later.zero_s, "gaps between"
        assert one.rate_ppm == later.rate_ppm, "one camera, one clock"
    assert sum(len(hall.within(one)) for one in files) == 40


def test_practice_starts_are_the_very_same_signal_from_two_lanes_away() -> None:
    hall = make_hall(4, minutes=5, starts=6, practice=True, **CLEAR)
    assert np.diff(hall.practice_s).min() >= 20 and np.diff(hall.practice_s).max() <= 40
    camera = hall.recordings[1]
    walk_s = np.hypot(25.0, 6.0 - 3.0) / 343.0
    starts_s = np.array([start.emitted_s for start in hall.starts])
    alone_s = [at for at in hall.practice_s if np.abs(starts_s - at).min() > 2.0]
    found_ms = [
        1000 * (arrival_s(hall, camera, camera.media_s(at + walk_s)) - camera.media_s(at + walk_s))
        for at in alone_s
        if camera.covers(at + walk_s) and camera.covers(at + 1.0)
    ]
    assert len(found_ms) >= 4
    assert np.abs(found_ms).max() < 0.3


def test_slow_motion_stretches_a_camera_four_times() -> None:
    hall = make_hall(4, minutes=8, starts=10, slow_motion=(1, 4.0), **CLEAR)
    slow = hall.recordings[1]
    assert slow.duration_s == 480.0
    assert slow.instant_s(480.0) - slow.instant_s(0.0) == pytest.approx(120.0, rel=2e-4)
    start = hall.heard(slow)[-1]
    begin = round(slow.media_s(start.emitted_s + slow.travel_s) * slow.rate_hz)
    before = np.abs(slow.samples[begin - 4000 : begin - 40].astype(np.float64))
    after = np.abs(slow.samples[begin : begin + 4000].astype(np.float64))
    assert after.max() > 20 * before.max()


def test_the_same_seed_gives_the_same_hall_and_loudness_changes_nothing_else() -> None:
    one, same, louder = (
        make_hall(9, minutes=1, starts=2, rate_hz=2000, loudness=x) for x in (1.5, 1.5, 6.0)
    )
    assert all(
        np.array_equal(a.samples, b.samples)
        for a, b in zip(one.recordings, same.recordings, strict=True)
    )
    assert one.starts == louder.starts
    assert not np.array_equal(one.recordings[0].samples, louder.recordings[0].samples)
    other = make_hall(10, minutes=1, starts=2, rate_hz=2000)
    assert not np.array_equal(one.recordings[0].samples, other.recordings[0].samples)


# --- the judge -----------------------------------------------------------------------------

SHIFT_S = 7.3


@pytest.fixture(scope="module")
def judged_hall() -> Hall:
    return make_hall(5, minutes=10, starts=12, rate_hz=200, heard_share=(1.0, 0.9, 0.2))


def true_fit(hall: Hall, u_ms: float = 1.0) -> ClinicFit:
    """A fit that is right but for a common shift of clinic time, as it always may be."""
    shift_s = hall.log_shift_s + 0.2
    recordings = {
        one.key: RecordingFit(
            one.key, one.zero_s + shift_s, one.rate_ppm, u_ms, u_ms, u_ms, u_ms, "sure", "ties",
            12, "",
        )
        for one in hall.recordings
    }  # fmt: skip
    swims = {
        start.key: SwimFit(start.key, start.emitted_s + shift_s, 0.001, "heard")
        for start in hall.starts
        if start.tap_s is not None
    }
    return ClinicFit(recordings, {}, swims, None, None)


def spoilt(fit: ClinicFit, key: str, **changes: object) -> ClinicFit:
    there = replace(fit.recordings[key], **changes)  # type: ignore[arg-type]
    return replace(fit, recordings={**fit.recordings, key: there})


def test_the_judge_finds_nothing_wrong_with_the_truth(judged_hall: Hall) -> None:
    judged = judge(judged_hall, true_fit(judged_hall))
    assert judged.wrong == []
    assert max(judged.sure_pair_errors_ms()) < 1e-3
    assert max(map(abs, judged.start_errors_ms)) < 1e-3
    assert judged.log_off_s == pytest.approx(0.0, abs=1e-6)
    assert len(judged.pairs) == 3, "only between the two cameras that hear half of the starts"


def test_the_judge_sees_an_offset_a_rate_and_a_fit_by_the_wrong_start(judged_hall: Hall) -> None:
    fit = true_fit(judged_hall)
    first = judged_hall.recordings[0]
    zero_s = fit.recordings[first.key].zero_s
    assert zero_s is not None
    off = judge(judged_hall, spoilt(fit, first.key, zero_s=zero_s + 0.05))
    assert [round(pair.error_ms, 3) for pair in off.pairs] == [50.0, 50.0, 50.0]
    assert any("+50 ms" in what for what in off.wrong)
    fast = judge(judged_hall, spoilt(fit, first.key, rate_ppm=first.rate_ppm + 10))
    begin, middle, end = (pair.error_ms for pair in fast.pairs)
    assert end - begin == pytest.approx(6.0, rel=0.1) and begin < middle < end
    moved = replace(
        fit,
        recordings={
            key: replace(one, zero_s=(one.zero_s or 0) + 40.0)
            for key, one in fit.recordings.items()
        },
    )
    assert any("against the log" in what for what in judge(judged_hall, moved).wrong)


def test_the_judge_forgives_what_is_not_called_sure(judged_hall: Hall) -> None:
    fit = true_fit(judged_hall)
    key = judged_hall.recordings[0].key
    zero_s = fit.recordings[key].zero_s
    assert zero_s is not None
    judged = judge(judged_hall, spoilt(fit, key, zero_s=zero_s + 0.5, state="look"))
    assert judged.wrong == [] and judged.sure_pair_errors_ms() == []


def test_the_judge_counts_how_often_the_stated_uncertainty_holds(judged_hall: Hall) -> None:
    """Errors drawn with a known spread: 2 u holds as often as scipy's normal law says."""
    from scipy.stats import norm

    rng = np.random.default_rng(1)
    inside = []
    pair = [one for one in judged_hall.recordings if one.camera != "camera 2"]
    two = replace(judged_hall, recordings=tuple(pair))
    for _ in range(400):
        fit = true_fit(two, u_ms=1.0)
        for one in pair:
            zero_s = fit.recordings[one.key].zero_s
            assert zero_s is not None
            moved_s = zero_s + rng.normal(0, 0.001 / np.sqrt(2))
            fit = spoilt(fit, one.key, zero_s=moved_s)
        inside += [abs(one.error_ms) <= 2 * one.u_ms for one in judge(two, fit).stated]
    assert np.mean(inside) == pytest.approx(norm.cdf(2) - norm.cdf(-2), abs=0.03)


def test_the_judge_calls_anything_sure_by_a_foreign_log_wrong(judged_hall: Hall) -> None:
    judged = judge(judged_hall, true_fit(judged_hall), own_log=False)
    assert len(judged.wrong) == 3
