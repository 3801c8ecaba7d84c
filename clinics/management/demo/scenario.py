"""Who swims when, what is heard where, and from when to when each camera runs. All invented.

Times in seconds count from the clinic's truth epoch unless a name says otherwise.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from clinics.management.demo.cast import DemoSwimmer
from clinics.management.demo.motion import Go
from clinics.management.demo.occasions import DemoClinic, DemoStation
from clinics.management.demo.scene import Figure
from clinics.management.demo.sound import Heard

TICKS_PER_S = 90_000
TAP_LATE_S, TAP_SCATTER_S = 0.20, 0.08
VERY_LATE_S = (0.2, 0.4)
"""A tap that somebody was distracted from comes so much later still."""
SHORT_PACE_S_PER_100M = 40.0
"""The quickest pace that a roster may name keeps the short version short."""
SPLIT_EVERY_FRAMES = 25
"""The cameras' key-frame distance: a split falls on a key frame."""
CHANGE_S, CHANGE_SPREAD_S = 5.0, 10.0
"""From a finish to the next start: at least, and how much more at most."""
GROUP_CHANGE_S = 7.0
"""Lane groups change over so much longer."""
CALLS_EVERY_S = 7.0


@dataclass(frozen=True)
class Emission:
    """A start signal as emitted. ``number`` is whose start it is; None: another lane's."""

    emitted_s: float
    x_m: float
    y_m: float
    loudness: float
    number: int | None


@dataclass(frozen=True)
class DemoSwim:
    """``tap_s`` is when the start was logged; None if nobody logged it."""

    swimmer: DemoSwimmer
    start_s: float
    tap_s: float | None
    go: Go

    @property
    def finish_s(self) -> float:
        return self.start_s + self.go.duration_s

    def figure(self) -> Figure:
        return Figure(self.swimmer.number, self.start_s, self.go, self.swimmer.colours)


@dataclass(frozen=True)
class DemoRecording:
    """One recording: a camera left running from ``zero_s`` on."""

    station: DemoStation
    files: tuple[str, ...]
    zero_s: float
    frame_count: int
    split_frame: int | None = None
    """First frame of the second file, where the camera split the recording."""

    @property
    def frames_per_s(self) -> Fraction:
        return self.station.frames_per_s

    @cached_property
    def pts_ticks(self) -> NDArray[np.int64]:
        """Presentation times of all frames, in 1/90000 s from the first."""
        k = np.arange(self.frame_count)
        if self.station.variable:
            return np.floor(variable_pts_ticks(k) + 0.5).astype(np.int64)
        return k * TICKS_PER_S * self.frames_per_s.denominator // self.frames_per_s.numerator

    @property
    def rate(self) -> float:
        return 1 + self.station.rate_ppm * 1e-6

    @cached_property
    def frame_clinic_s(self) -> NDArray[np.float64]:
        """True instants of all frames."""
        return self.zero_s + self.pts_ticks / TICKS_PER_S * self.rate

    @property
    def duration_s(self) -> float:
        """Media seconds from the first frame to the end of the last."""
        return float(self.pts_ticks[-1]) / TICKS_PER_S + 1 / float(self.frames_per_s)

    def covers(self, clinic_s: float) -> bool:
        return bool(self.frame_clinic_s[0] < clinic_s < self.frame_clinic_s[-1])

    def first_frame_at(self, clinic_s: float) -> int:
        """The first frame at or after an instant, which is what a person steps to."""
        return int(np.searchsorted(self.frame_clinic_s, clinic_s))


SWAY_TICKS, SWAY_FRAMES = 10_800, 140
JITTER_TICKS, JITTER_STEP = 180, 2.399


def variable_pts_ticks(k: NDArray[np.int64]) -> NDArray[np.float64]:
    """A webcam's uneven frame times around 25 a second: slow sway (22 to 29) and jitter."""
    sway = SWAY_TICKS * np.sin(2 * np.pi * k / SWAY_FRAMES)
    return 3600 * k + sway + JITTER_TICKS * np.sin(JITTER_STEP * k)


VARIABLE_PTS_EXPRESSION = (
    f"floor(3600*N+{SWAY_TICKS}*sin(2*PI*N/{SWAY_FRAMES})+{JITTER_TICKS}*sin({JITTER_STEP}*N)+0.5)"
)
"""The same formula as the encoder's `setpts` filter reads it."""


@dataclass(frozen=True)
class Scenario:
    """Everything that is decided before the first frame is drawn."""

    clinic: DemoClinic
    seed: int
    short: bool
    swims: tuple[DemoSwim, ...] = field(init=False)
    recordings: tuple[DemoRecording, ...] = field(init=False)
    calls: tuple[Emission, ...] = field(init=False)
    """Voices and knocks from anywhere in the hall."""

    def __post_init__(self) -> None:
        rng = np.random.default_rng(self.seed)
        object.__setattr__(self, "swims", tuple(_swims(rng, self.clinic, self.short)))
        object.__setattr__(self, "recordings", tuple(_recordings(rng, self)))
        object.__setattr__(self, "calls", tuple(_calls(rng, self.end_s)))

    @property
    def end_s(self) -> float:
        return max(float(recording.frame_clinic_s[-1]) for recording in self.recordings)

    def figures(self) -> list[Figure]:
        return [swim.figure() for swim in self.swims]

    def emissions(self) -> list[Emission]:
        """All start signals in order of time, another lane's among them."""
        x_m, y_m = self.clinic.starter_m
        own = [Emission(s.start_s, x_m, y_m, 1.0, s.swimmer.number) for s in self.swims]
        starts = {swim.swimmer.number: swim.start_s for swim in self.swims}
        others = [
            Emission(starts[p.number] + p.after_s, p.x_m, p.y_m, p.loudness, None)
            for p in self.clinic.practice
            if p.number in starts and not self.short
        ]
        return sorted(own + others, key=lambda emission: emission.emitted_s)

    def signals_at(self, station: DemoStation) -> list[Heard]:
        """The start signals as they reach a station."""
        return [self._heard(station, emission) for emission in self.emissions()]

    def splashes_at(self, station: DemoStation) -> list[Heard]:
        """Each swimmer's entry as it reaches a station, softer than the signal."""
        entries = [
            Emission(s.start_s + s.go.entry_s, 3.0, 1.25, 1.0, s.swimmer.number) for s in self.swims
        ]
        heard = [self._heard(station, entry) for entry in entries]
        return [Heard(h.arrival_s, min(0.3, h.loudness * 0.35)) for h in heard]

    def calls_at(self, station: DemoStation) -> list[Heard]:
        return [self._heard(station, call) for call in self.calls]

    def _heard(self, station: DemoStation, emission: Emission) -> Heard:
        place_m = (emission.x_m, emission.y_m)
        distance_m = math.dist((station.x_m, station.y_m), place_m)
        loudness = station.loudness_at_1_m * emission.loudness / max(distance_m, 1.0)
        travel_s = self.clinic.travel_s(station, place_m)
        return Heard(emission.emitted_s + travel_s, min(0.5, loudness))


def _swims(rng: np.random.Generator, clinic: DemoClinic, short: bool) -> list[DemoSwim]:
    """The running order: the next one goes when the one before is out, after an uneven while."""
    swimmers = [s for s in clinic.swimmers if not short or s.number in clinic.short_numbers]
    spare_s = rng.permutation(np.linspace(0.0, CHANGE_SPREAD_S, len(swimmers)))
    spare_s += rng.uniform(-0.4, 0.4, len(swimmers))
    swims: list[DemoSwim] = []
    start_s = 3.4 if short else 8.0 + rng.uniform(0, 1)
    for swimmer, extra_s in zip(swimmers, spare_s, strict=True):
        if swims:
            before = swims[-1]
            start_s = before.finish_s + CHANGE_S + (0.3 if short else max(extra_s, 0.0))
            if swimmer.lane_group != before.swimmer.lane_group and not short:
                start_s += GROUP_CHANGE_S
            if not (swimmer.filmed and before.swimmer.filmed):
                start_s += CHANGE_S
        swims.append(_swim(rng, clinic, swimmer, start_s, short))
    return swims


def _swim(
    rng: np.random.Generator,
    clinic: DemoClinic,
    swimmer: DemoSwimmer,
    start_s: float,
    short: bool,
) -> DemoSwim:
    start_s = round(start_s, 6)
    pace_s = SHORT_PACE_S_PER_100M if short else swimmer.pace_s_per_100m
    duration_s = round(pace_s * clinic.distance_m / 100 * (1 + rng.uniform(-0.02, 0.02)), 3)
    late_s = rng.normal(TAP_LATE_S, TAP_SCATTER_S)
    if swimmer.number in clinic.tapped_very_late:
        late_s += rng.uniform(*VERY_LATE_S)
    tapped = short or swimmer.number not in clinic.not_tapped
    go = Go(
        duration_s,
        swimmer.stroke,
        swimmer.start == "water",
        lengths=clinic.lengths,
        shows_card=swimmer.filmed,
    )
    return DemoSwim(swimmer, start_s, round(start_s + late_s, 3) if tapped else None, go)


def _recordings(rng: np.random.Generator, scenario: Scenario) -> list[DemoRecording]:
    recordings = []
    for station in scenario.clinic.stations:
        if station.file_per_group:
            recordings += _group_recordings(rng, station, scenario)
        else:
            recordings.append(_long_recording(rng, station, scenario))
    return recordings


def _long_recording(
    rng: np.random.Generator, station: DemoStation, scenario: Scenario
) -> DemoRecording:
    """A camera that runs until after the last finish."""
    swims, short = scenario.swims, scenario.short
    end_s = swims[-1].finish_s + (0.8 if short else 5.0)
    zero_s = rng.uniform(0.3, 1.0 if short else 3.0)
    if station.begins_after_starts and not short:
        zero_s += swims[station.begins_after_starts - 1].start_s + 3.0
    zero_s = round(zero_s, 6)
    frame_count = math.ceil((end_s - zero_s) * station.frames_per_s)
    split = None
    if len(station.files) > 1:
        split = round(frame_count * 0.55 / SPLIT_EVERY_FRAMES) * SPLIT_EVERY_FRAMES
    return DemoRecording(station, station.files, zero_s, frame_count, split)


def _group_recordings(
    rng: np.random.Generator, station: DemoStation, scenario: Scenario
) -> list[DemoRecording]:
    """The camera makes a file per lane group, switched on for it and off after it."""
    recordings = []
    for number, group in enumerate(scenario.clinic.lane_groups, start=1):
        swims = [swim for swim in scenario.swims if swim.swimmer.lane_group == group]
        zero_s = swims[0].start_s - (2.5 if scenario.short else 7.0) - rng.uniform(0, 0.5)
        until_s = swims[-1].finish_s + (0.5 if scenario.short else 3.4)
        name = station.files[0].replace("001", f"{number:03d}")
        frame_count = math.ceil((until_s - zero_s) * station.frames_per_s)
        recordings.append(DemoRecording(station, (name,), round(zero_s, 6), frame_count))
    return recordings


def _calls(rng: np.random.Generator, end_s: float) -> list[Emission]:
    count = round(end_s / CALLS_EVERY_S)
    return [
        Emission(
            rng.uniform(0.0, end_s),
            rng.uniform(0.0, 25.0),
            rng.uniform(-3.0, 12.0),
            rng.lognormal(math.log(0.12), 0.5),
            None,
        )
        for _ in range(count)
    ]
