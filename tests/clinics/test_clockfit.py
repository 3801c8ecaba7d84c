"""Clock fits: the answer is imposed, and must come back within its stated uncertainty.

Outside references: scipy.stats.linregress for the least-squares line, theilslopes for a robust one.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import linregress, theilslopes

from clinics.compute.clockfit import (
    INSTANT,
    START_HEARD,
    START_SEEN,
    ClinicFit,
    RecordingIn,
    SwimIn,
    TieIn,
    fit_by_file_date,
    fit_clinic,
)

FRAME_S = 0.04
STARTS_S = {f"swim {n}": 36_000.0 + 47.3 * n + 3.1 * (n % 3) for n in range(40)}


def seen(
    recording: str, zero_s: float, rate_ppm: float, swim: str, *, late_s: float = 0.0, u_s=0.0116
) -> TieIn:
    """The tie that somebody places on the first frame at or after a start."""
    media_s = (STARTS_S[swim] + late_s - zero_s) / (1 + rate_ppm * 1e-6)
    frame_s = math.ceil(media_s / FRAME_S - 1e-9) * FRAME_S
    kind = START_HEARD if late_s else START_SEEN
    return TieIn(
        f"{recording}/{swim}", recording, kind, frame_s, FRAME_S / 2, u_s, swim, travel_s=late_s
    )


def taps(rng: np.random.Generator, late_s: float = 0.2) -> list[SwimIn]:
    return [
        SwimIn(key, start + late_s + rng.normal(0, 0.08), 0.15) for key, start in STARTS_S.items()
    ]


CAMERAS = {
    # key: camera, zero, duration, rate
    "start 1": ("start", 35_990.0, 900.0, 40.0),
    "start 2": ("start", 36_900.0, 1000.0, 40.0),
    "deck": ("deck", 35_950.5, 2000.0, -80.0),
    "window": ("window", 35_970.25, 1980.0, 95.0),
}


def whole_clinic(seed: int) -> tuple[list[RecordingIn], list[SwimIn], list[TieIn]]:
    rng = np.random.default_rng(seed)
    recordings = [RecordingIn(key, cam, dur, FRAME_S) for key, (cam, _, dur, _) in CAMERAS.items()]
    ties = []
    for key, (_, zero, duration, rate) in CAMERAS.items():
        held = [s for s, start in STARTS_S.items() if zero < start < zero + duration - 5]
        late = 0.07 if key == "window" else 0.0
        chosen = {held[0], held[-1]} | ({"swim 18", "swim 19"} if key == "deck" else set())
        ties += [seen(key, zero, rate, swim, late_s=late) for swim in sorted(chosen)]
    return recordings, taps(rng), ties


def disagreement_ms(fit: ClinicFit, one: str, other: str, share: float) -> float:
    """How far two fitted clocks are apart at an instant both have, beyond the truth."""
    begin = max(CAMERAS[one][1], CAMERAS[other][1])
    end = min(CAMERAS[one][1] + CAMERAS[one][2], CAMERAS[other][1] + CAMERAS[other][2])
    instant = begin + share * (end - begin)
    return 1000 * (told_by(one, fit, instant) - told_by(other, fit, instant))


def told_by(key: str, fit: ClinicFit, instant: float) -> float:
    """What the fitted clock of a camera says at the frame that it filmed at that instant."""
    _, zero, _, rate = CAMERAS[key]
    media_s = (instant - zero) / (1 + rate * 1e-6)
    found = fit.recordings[key]
    assert found.zero_s is not None
    return found.zero_s + media_s * (1 + found.rate_ppm * 1e-6)


@pytest.mark.parametrize("seed", range(5))
def test_cameras_tied_to_shared_starts_agree_within_a_frame_though_taps_scatter(seed: int) -> None:
    fit = fit_clinic(*whole_clinic(seed))
    assert {one.state for one in fit.recordings.values()} == {"sure"}
    for one, other in (("deck", "window"), ("start 1", "window"), ("start 2", "deck")):
        for share in (0.0, 0.5, 1.0):
            u_ms = math.hypot(fit.recordings[one].u_ms, fit.recordings[other].u_ms)
            off_ms = abs(disagreement_ms(fit, one, other, share))
            assert off_ms < 3 * u_ms
            assert off_ms < 40


def test_stated_uncertainty_is_neither_too_small_nor_idle() -> None:
    """Over many clinics, errors in units of their stated uncertainty are about one."""
    scaled = []
    for seed in range(30):
        rng = np.random.default_rng(1000 + seed)
        recordings, swims, ties = whole_clinic(seed)
        ties = [
            TieIn(**{**vars(tie), "media_s": tie.media_s + rng.uniform(-0.02, 0.02)})
            for tie in ties
        ]
        fit = fit_clinic(recordings, swims, ties)
        for one, other in (("deck", "window"), ("start 1", "deck")):
            u_ms = math.hypot(fit.recordings[one].u_mid_ms, fit.recordings[other].u_mid_ms)
            scaled.append(disagreement_ms(fit, one, other, 0.5) / u_ms)
    assert 0.4 < float(np.std(scaled)) < 1.6


def test_tied_starts_become_better_known_than_their_taps() -> None:
    fit = fit_clinic(*whole_clinic(3))
    tied = [one for one in fit.swims.values() if one.by != "tap"]
    common = np.mean([one.start_s - STARTS_S[one.key] for one in tied])
    assert common == pytest.approx(0.2, abs=0.15)  # how late taps are shifts all alike
    for one in tied:
        assert one.u_s < 0.03
        off_s = one.start_s - told_by("deck", fit, STARTS_S[one.key])
        assert abs(off_s) < 3 * math.hypot(one.u_s, fit.recordings["deck"].u_ms / 1000)
    assert {one.by for one in tied} == {"heard", "seen"}
    assert sum(one.by == "tap" for one in fit.swims.values()) == len(STARTS_S) - len(tied)


def instants(recording: str, zero_s: float, rate_ppm: float, at: list[float], u_s: float) -> list:
    return [
        TieIn(f"{n}", recording, INSTANT, m, 0.0, u_s, None, zero_s + m * (1 + rate_ppm * 1e-6))
        for n, m in enumerate(at)
    ]


def test_line_is_that_of_linear_regression() -> None:
    rng = np.random.default_rng(5)
    at = list(np.linspace(5.0, 3500.0, 12))
    exact = instants("a", 1000.0, 60.0, at, 0.01)
    noise = rng.normal(0, 0.01, len(at))
    ties = [
        TieIn(**{**vars(tie), "instant_s": tie.instant_s + off})
        for tie, off in zip(exact, noise, strict=True)
    ]
    fit = fit_clinic([RecordingIn("a", "cam", 3600.0, FRAME_S)], [], ties).recordings["a"]
    y = np.array([tie.instant_s for tie in ties]) - np.array(at)
    line = linregress(at, y)
    robust = theilslopes(y, at)
    assert fit.zero_s == pytest.approx(line.intercept, abs=5e-4)
    assert fit.rate_ppm == pytest.approx(1e6 * line.slope, abs=0.3)  # drawn to zero a little
    assert fit.rate_ppm == pytest.approx(1e6 * robust.slope, abs=10)
    assert fit.state == "sure"
    assert fit.ties == 12


def test_one_tie_gives_the_offset_and_says_what_the_rate_costs() -> None:
    swims = [SwimIn("swim 0", STARTS_S["swim 0"], 0.15)]
    tie = seen("a", 35_990.0, 0.0, "swim 0")
    fit = fit_clinic([RecordingIn("a", "cam", 3600.0, FRAME_S)], swims, [tie]).recordings["a"]
    assert fit.zero_s == pytest.approx(35_990.0, abs=FRAME_S / 2 + 1e-6)
    assert fit.rate_ppm == pytest.approx(0.0, abs=1e-6)
    assert fit.state == "look"
    assert "second tie" in fit.reason
    assert fit.u_begin_ms < 20
    assert fit.u_end_ms == pytest.approx(100e-6 * 1e3 * (3600 - tie.event_s), rel=0.01)
    assert fit.u_ms == fit.u_end_ms


def test_half_a_frame_is_taken_off_each_event() -> None:
    """25 frames/s against 240: the bias of "first frame at or after" cancels only if taken off."""
    rng = np.random.default_rng(2)
    off = []
    for _ in range(400):
        event_s = rng.uniform(10, 20)
        for frame_s in (0.04, 1 / 240):
            frame = math.ceil(event_s / frame_s) * frame_s
            off.append(TieIn("t", "r", INSTANT, frame, frame_s / 2, 0.01).event_s - event_s)
    assert abs(np.mean(off)) < 1e-3


def test_heard_start_is_later_by_the_sound() -> None:
    swims = [SwimIn(key, start, 0.001) for key, start in STARTS_S.items()]
    ties = [seen("a", 35_990.0, 0.0, key, late_s=0.0723) for key in ("swim 0", "swim 30")]
    fit = fit_clinic([RecordingIn("a", "cam", 2000.0, FRAME_S)], swims, ties).recordings["a"]
    assert fit.zero_s == pytest.approx(35_990.0, abs=0.021)


def test_wrong_swimmer_is_set_aside_when_others_agree() -> None:
    recordings, swims, ties = whole_clinic(1)
    wrong = TieIn(**{**vars(ties[-1]), "key": "wrong", "swim": "swim 20"})
    fit = fit_clinic(recordings, swims, [*ties, wrong])
    assert fit.ties["wrong"].residual_ms is None
    assert "other ties" in fit.ties["wrong"].set_aside
    assert fit.recordings["window"].state == "sure"
    assert fit.recordings["window"].ties == 2


def test_recording_that_shares_no_start_with_others_is_no_better_than_the_taps() -> None:
    recordings, swims, ties = whole_clinic(1)
    ties = [tie for tie in ties if tie.recording != "start 1"]
    ties += [seen("start 1", 35_990.0, 40.0, key) for key in ("swim 4", "swim 9")]
    fit = fit_clinic(recordings, swims, ties)
    assert fit.recordings["start 1"].state == "look"
    assert fit.recordings["start 1"].u_ms > 80
    assert "other recordings" in fit.recordings["start 1"].reason
    assert fit.recordings["deck"].state == "sure"


def test_two_ties_that_disagree_are_not_believed() -> None:
    recordings, swims, ties = whole_clinic(1)
    ties[-1] = TieIn(**{**vars(ties[-1]), "swim": "swim 20"})
    fit = fit_clinic(recordings, swims, ties)
    assert fit.recordings["window"].state == "not-found"
    assert "disagree" in fit.recordings["window"].reason
    assert fit.recordings["deck"].state == "sure"


def test_tie_a_few_frames_off_is_found_if_enough_others_stand() -> None:
    recordings, swims, ties = whole_clinic(2)
    middle = [key for key in STARTS_S if 36_600 < STARTS_S[key] < 37_600][:6]
    for key, (_, zero, duration, rate) in CAMERAS.items():
        ties += [
            seen(key, zero, rate, swim)
            for swim in middle
            if zero < STARTS_S[swim] < zero + duration - 5
        ]
    off = next(tie for tie in ties if tie.key == f"deck/{middle[2]}")
    ties[ties.index(off)] = TieIn(**{**vars(off), "media_s": off.media_s + 5 * FRAME_S})
    fit = fit_clinic(recordings, swims, ties)
    assert "wrong frame" in fit.ties[off.key].set_aside
    assert sum(bool(one.set_aside) for one in fit.ties.values()) == 1


@pytest.mark.parametrize("rate_ppm", [400.0, -250.0, 3_000_000.0])
def test_rate_that_no_camera_has_is_refused_with_its_reason(rate_ppm: float) -> None:
    ties = instants("a", 1000.0, rate_ppm, [10.0, 1700.0, 3400.0], 0.01)
    fit = fit_clinic([RecordingIn("a", "cam", 3600.0, FRAME_S)], [], ties)
    assert fit.recordings["a"].state == "not-found"
    assert "ppm" in fit.recordings["a"].reason
    assert "slow motion" in fit.recordings["a"].reason
    assert all(one.residual_ms is None for one in fit.ties.values())


def test_known_instant_measures_how_late_the_log_is() -> None:
    recordings, swims, ties = whole_clinic(4)
    swims = [SwimIn(one.key, one.tap_s + 12.0, one.u_s) for one in swims]  # 12.2 s late in all
    known = instants("deck", CAMERAS["deck"][1], -80.0, [30.0, 900.0, 1900.0], 0.01)
    fit = fit_clinic(recordings, swims, [*ties, *known])
    assert fit.lateness_s == pytest.approx(12.2, abs=3 * fit.lateness_u_s)
    assert 0.02 < fit.lateness_u_s < 0.2
    for key, (_, zero, _, _) in CAMERAS.items():
        assert fit.recordings[key].zero_s == pytest.approx(zero, abs=0.06)
    untied = fit.swims["swim 5"]
    assert untied.start_s == pytest.approx(STARTS_S["swim 5"], abs=0.5)


def test_without_ties_nothing_is_fitted_and_starts_are_taps() -> None:
    recordings, swims, _ = whole_clinic(0)
    fit = fit_clinic(recordings, swims, [])
    assert {one.state for one in fit.recordings.values()} == {"not-found"}
    assert all(fit.swims[one.key].start_s == one.tap_s for one in swims)
    assert fit.lateness_s is None


CLOCK = RecordingIn("a", "cam", 600.0, FRAME_S)


def test_file_date_is_believed_only_if_it_holds_a_start() -> None:
    found = fit_by_file_date(CLOCK, 36_000.0, [36_100.0])
    assert (found.state, found.zero_s, found.u_ms) == ("look", 36_000.0, 2000.0)
    hours_off = fit_by_file_date(CLOCK, 36_000.0 - 3600, [36_100.0])
    assert hours_off.state == "not-found"
    assert "clock" in hours_off.reason
    assert fit_by_file_date(CLOCK, None, [36_100.0]).state == "not-found"


def test_a_wrong_clock_is_put_right_by_the_same_cameras_other_recordings() -> None:
    found = fit_by_file_date(CLOCK, 36_000.0 + 3600, [36_100.0], [(40_000.0, 36_400.0)])
    assert (found.state, found.zero_s) == ("look", 36_000.0)
