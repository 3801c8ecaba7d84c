"""Other afternoons of the demo clinics, by their sound alone: no pictures, so quick.

The soundtracks are the generator's own, at the rate at which aligning hears them, by the clock of
each camera; its truth is what was imposed on them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest

from clinics.compute.clockfit import SURE, RecordingIn, SwimIn
from clinics.compute.oneclock import OneClock, Soundtrack, place_all
from clinics.management.demo.occasions import CLINICS
from clinics.management.demo.scenario import DemoRecording, Scenario
from clinics.management.demo.sound import SIGNALS, soundtrack

pytestmark = pytest.mark.slow

RATE_HZ = 8000
LOG_OFF_S = 7_203.4
TAP_U_S = 0.15
BETWEEN_CAMERAS_S = 0.005


@dataclass(frozen=True)
class Afternoon:
    scenario: Scenario
    one: OneClock

    def off_s(self, recording: DemoRecording) -> np.ndarray | None:
        """Told minus true clinic time at the begin, middle and end."""
        told = self.one.fit.recordings[recording.files[0]]
        if told.zero_s is None:
            return None
        media_s = np.array([0.0, 0.5, 1.0]) * recording.duration_s
        true_s = recording.zero_s + media_s * recording.rate
        return told.zero_s + media_s * (1 + told.rate_ppm * 1e-6) - true_s

    @property
    def common_s(self) -> float:
        offs = [self.off_s(recording) for recording in self.scenario.recordings]
        return float(np.median([off[1] for off in offs if off is not None]))


def afternoon(slug: str, seed: int) -> Afternoon:
    scenario = Scenario(CLINICS[slug], seed, short=False)
    recordings: list[RecordingIn] = []
    tracks, order = [], 0
    for row in scenario.recordings:
        station = row.station
        order = order + 1 if recordings and recordings[-1].camera == station.camera else 0
        frame_s = 1 / float(row.frames_per_s)
        recordings.append(RecordingIn(row.files[0], station.camera, row.duration_s, frame_s, order))
        if station.hears_start:
            travel_s = scenario.clinic.travel_s(station, scenario.clinic.starter_m)
            tracks.append(Soundtrack(row.files[0], heard_by(row, scenario), RATE_HZ, travel_s))
    swims = [
        SwimIn(str(swim.swimmer.number), swim.tap_s + LOG_OFF_S, TAP_U_S)
        for swim in scenario.swims
        if swim.tap_s is not None
    ]
    return Afternoon(scenario, place_all(recordings, swims, [], tracks))


def heard_by(row: DemoRecording, scenario: Scenario) -> np.ndarray:
    samples = round(row.duration_s * RATE_HZ)
    track = soundtrack(
        row.zero_s + np.arange(samples) / RATE_HZ * row.rate,
        signal=SIGNALS[scenario.clinic.signal],
        starts=scenario.signals_at(row.station),
        splashes=scenario.splashes_at(row.station),
        calls=scenario.calls_at(row.station),
        rng=np.random.default_rng([scenario.seed, *row.files[0].encode()]),
    )
    return (track * 32767).astype(np.int16)


@pytest.mark.parametrize("seed", [1])
@pytest.mark.parametrize("slug", CLINICS)
def test_all_who_hear_are_sure_and_right_and_so_are_the_starts(slug: str, seed: int) -> None:
    found = afternoon(slug, seed)
    assert LOG_OFF_S < found.common_s < LOG_OFF_S + 0.4
    for recording in found.scenario.recordings:
        fit, off_s = found.one.fit.recordings[recording.files[0]], found.off_s(recording)
        if recording.station.hears_start:
            assert fit.state == SURE and off_s is not None, fit
            assert np.abs(off_s - found.common_s).max() < BETWEEN_CAMERAS_S
        else:
            assert fit.state != SURE
    starts = {str(swim.swimmer.number): swim.start_s for swim in found.scenario.swims}
    for number, start in found.one.fit.swims.items():
        assert start.by == "heard", number
        assert abs(start.start_s - starts[number] - found.common_s) < BETWEEN_CAMERAS_S, number
    heard_s = np.array([one.instant_s for one in found.one.heard]) - found.common_s
    for swim in found.scenario.swims:
        if swim.tap_s is None:
            assert len(heard_s) and np.abs(heard_s - swim.start_s).min() < BETWEEN_CAMERAS_S
