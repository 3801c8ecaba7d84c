"""Who swims when, and which camera with which wrong clock films it. All of it is invented.

Times in seconds count from the truth epoch unless a name says otherwise.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from clinics.management.demo.figure import Colours
from clinics.management.demo.motion import Go
from clinics.management.demo.scene import Figure
from clinics.management.demo.sound import Heard, speed_of_sound_m_per_s

TICKS_PER_S = 90_000
TIME_ZONE = "Europe/Dublin"
EPOCH = datetime(2026, 11, 14, 10, 0, 0, tzinfo=UTC)
"""The truth epoch: painted instants and seconds of this module count from here."""
CLUB_SLUG = "harbour-lane-masters"
CLINIC_SLUG = "harbour-autumn"
VENUE = "Millrace Baths"
DISTANCE_M = 50.0
AIR_TEMPERATURE_C = 27.0
STARTER_M = (0.0, 1.0)
MAIL_DOMAIN = "harbourlane.example"
TEAM = (
    ("Jun Sorley", "checker"),
    ("Mara Lindqvist", "starter"),
    ("Petra Voss", "logger"),
    ("Petra Voss", "camera"),
)
TAP_LATE_S, TAP_SCATTER_S = 0.20, 0.08


@dataclass(frozen=True)
class DemoSwimmer:
    number: int
    name: str
    stroke: str
    pace_s_per_100m: float
    lane_group: str
    start: str
    colours: Colours

    @property
    def email(self) -> str:
        return f"{self.name.lower().replace(' ', '.')}@{MAIL_DOMAIN}"


@dataclass(frozen=True)
class DemoStation:
    slug: str
    name: str
    x_m: float
    y_m: float
    z_m: float
    hears_start: bool
    camera: str
    loudness_at_1_m: float
    clock_ahead_s: float
    """What this camera's own clock shows more than the true time."""
    rate_ppm: float
    """Clinic seconds per media second, minus one, in millionths."""

    @property
    def kind(self) -> str:
        """The demo has one station of each kind, named after it."""
        return self.slug

    def travel_s(self, x_m: float, y_m: float) -> float:
        """Sound's way from a place to this station, in plan: microphones and horn are level."""
        distance_m = math.hypot(self.x_m - x_m, self.y_m - y_m)
        return distance_m / speed_of_sound_m_per_s(AIR_TEMPERATURE_C)


@dataclass(frozen=True)
class DemoSwim:
    swimmer: DemoSwimmer
    start_s: float
    tap_s: float
    go: Go

    def figure(self) -> Figure:
        return Figure(self.swimmer.number, self.start_s, self.go, self.swimmer.colours)


@dataclass(frozen=True)
class DemoRecording:
    """One recording: a camera left running from ``zero_s`` on."""

    station: DemoStation
    files: tuple[str, ...]
    zero_s: float
    frames_per_s: Fraction
    frame_count: int
    variable: bool = False
    split_frame: int | None = None
    """First frame of the second file, where the camera split the recording."""

    @cached_property
    def pts_ticks(self) -> NDArray[np.int64]:
        """Presentation times of all frames, in 1/90000 s from the first."""
        k = np.arange(self.frame_count)
        if self.variable:
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

    def clinic_s(self, media_s: float | NDArray[np.float64]) -> float | NDArray[np.float64]:
        return self.zero_s + media_s * self.rate

    def covers(self, clinic_s: float) -> bool:
        return self.frame_clinic_s[0] < clinic_s < self.frame_clinic_s[-1]

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

STATIONS = (
    DemoStation("start-side", "Start side", 3.0, -2.0, 1.6, True, "Start camera", 1.9, 7.3, 35.0),
    DemoStation("underwater", "Underwater", 12.5, 5.0, -0.7, False, "Sub camera", 0, -12.8, -60.0),
    DemoStation(
        "turn-window", "Turn window", 25.0, -0.8, -0.5, True, "Window camera", 4.6, 3602.4, 12.0
    ),
    DemoStation("deck", "Deck", 9.0, -2.2, 1.7, True, "Deck camera", 3.1, 41.6, 80.0),
)


def _swimmer(row: tuple[int, str, str, float, str, str], colours: Colours) -> DemoSwimmer:
    number, name, stroke, pace, group, start = row
    return DemoSwimmer(number, name, stroke, pace, group, start, colours)


SWIMMERS = tuple(
    _swimmer(row, Colours(skin, suit, cap))
    for row, skin, suit, cap in (
        ((11, "Tomas Birk", "freestyle", 52, "A", "block"),
         (215, 159, 126), (20, 60, 90), (181, 56, 15)),
        ((12, "Wren Okada", "backstroke", 55, "A", "water"),
         (224, 178, 146), (112, 30, 62), (229, 169, 0)),
        ((13, "Sol Hagen", "freestyle", 50, "A", "block"),
         (160, 106, 76), (34, 44, 52), (238, 245, 244)),
        ((21, "Liv Marchetti", "breaststroke", 56, "B", "block"),
         (222, 170, 138), (10, 83, 97), (28, 107, 69)),
        ((22, "Oskar Brandt", "freestyle", 51, "B", "block"),
         (230, 186, 158), (60, 40, 84), (124, 199, 211)),
        ((23, "Noor Castellan", "butterfly", 53, "B", "block"),
         (178, 124, 92), (16, 36, 46), (196, 92, 150)),
    )
)  # fmt: skip


@dataclass(frozen=True)
class Scenario:
    """Everything that is decided before the first frame is drawn."""

    seed: int
    short: bool
    swims: tuple[DemoSwim, ...] = field(init=False)
    recordings: tuple[DemoRecording, ...] = field(init=False)

    def __post_init__(self) -> None:
        rng = np.random.default_rng(self.seed)
        object.__setattr__(self, "swims", tuple(_swims(rng, self.short)))
        object.__setattr__(self, "recordings", tuple(_recordings(rng, self.swims, self.short)))

    @property
    def end_s(self) -> float:
        return max(float(recording.frame_clinic_s[-1]) for recording in self.recordings)

    def signals_at(self, station: DemoStation) -> list[Heard]:
        """The start signals as they reach a station."""
        return [_heard(station, swim.start_s, *STARTER_M) for swim in self.swims]

    def splashes_at(self, station: DemoStation) -> list[Heard]:
        """Each swimmer's entry as it reaches a station, softer than the signal."""
        heard = [_heard(station, s.start_s + s.go.entry_s, 3.0, 1.25) for s in self.swims]
        return [Heard(h.arrival_s, min(0.3, h.loudness * 0.35)) for h in heard]


def instant_at(clinic_s: float) -> datetime:
    """Seconds since the truth epoch as an instant, to the microsecond."""
    return EPOCH + timedelta(microseconds=round(clinic_s * 1e6))


def _heard(station: DemoStation, emitted_s: float, x_m: float, y_m: float) -> Heard:
    distance_m = math.hypot(station.x_m - x_m, station.y_m - y_m)
    loudness = min(0.5, station.loudness_at_1_m / max(distance_m, 1.0))
    return Heard(emitted_s + station.travel_s(x_m, y_m), loudness)


def _swims(rng: np.random.Generator, short: bool) -> list[DemoSwim]:
    """The running order: the next one goes when the one before is out; a pause between groups."""
    swimmers = [s for s in SWIMMERS if s.number in (11, 21)] if short else SWIMMERS
    swims: list[DemoSwim] = []
    start_s = 3.4 if short else 8.0 + rng.uniform(0, 1)
    for swimmer in swimmers:
        if swims:
            paused = swimmer.lane_group != swims[-1].swimmer.lane_group and not short
            free_s = swims[-1].start_s + swims[-1].go.duration_s
            start_s = free_s + 5.0 + rng.uniform(0, 0.6 if short else 4.0) + 9.0 * paused
        swims.append(_swim(rng, swimmer, start_s, short))
    return swims


def _swim(rng: np.random.Generator, swimmer: DemoSwimmer, start_s: float, short: bool) -> DemoSwim:
    start_s = round(start_s, 6)
    pace_s = SHORT_PACE_S_PER_100M if short else swimmer.pace_s_per_100m
    duration_s = round(pace_s * DISTANCE_M / 100 * (1 + rng.uniform(-0.02, 0.02)), 3)
    late_s = rng.normal(TAP_LATE_S, TAP_SCATTER_S)
    go = Go(duration_s, swimmer.stroke, swimmer.start == "water")
    return DemoSwim(swimmer, start_s, round(start_s + late_s, 3), go)


SHORT_PACE_S_PER_100M = 40.0
"""The quickest pace that a roster may name keeps the short version short."""
SPLIT_EVERY_FRAMES = 25
"""The turn camera's key-frame distance: a split falls on a key frame."""


def _recordings(
    rng: np.random.Generator, swims: tuple[DemoSwim, ...], short: bool
) -> list[DemoRecording]:
    end_s = swims[-1].start_s + swims[-1].go.duration_s + (0.8 if short else 5.0)
    start, under, turn, deck = STATIONS
    recordings = [
        _start_recording(rng, start, [s for s in swims if s.swimmer.lane_group == group], i, short)
        for i, group in enumerate(("A", "B"), 1)
    ]
    recordings.append(_long_recording(rng, under, ("UW_0031.MP4",), Fraction(25), end_s, short))
    recordings.append(
        _long_recording(rng, turn, ("00012.MTS", "00013.MTS"), Fraction(25), end_s, short)
    )
    deck_rate = Fraction(30000, 1001)
    recordings.append(_long_recording(rng, deck, ("DECK0007.MOV",), deck_rate, end_s, short))
    return recordings


def _long_recording(
    rng: np.random.Generator,
    station: DemoStation,
    files: tuple[str, ...],
    frames_per_s: Fraction,
    end_s: float,
    short: bool,
) -> DemoRecording:
    """A camera that runs from before the first start to after the last finish."""
    zero_s = round(rng.uniform(0.3, 1.0 if short else 3.0), 6)
    frame_count = math.ceil((end_s - zero_s) * frames_per_s)
    split = None
    if len(files) > 1:
        split = round(frame_count * 0.55 / SPLIT_EVERY_FRAMES) * SPLIT_EVERY_FRAMES
    return DemoRecording(station, files, zero_s, frames_per_s, frame_count, split_frame=split)


def _start_recording(
    rng: np.random.Generator,
    station: DemoStation,
    swims: list[DemoSwim],
    order: int,
    short: bool,
) -> DemoRecording:
    """The start camera makes a file per lane group, at a webcam's variable frame rate."""
    zero_s = round(swims[0].start_s - (2.5 if short else 7.0) - rng.uniform(0, 0.5), 6)
    until_s = swims[-1].start_s + swims[-1].go.duration_s + (0.5 if short else 3.4)
    frame_count = math.ceil((until_s - zero_s) * 25)
    name = f"START{order:03d}.MP4"
    return DemoRecording(station, (name,), zero_s, Fraction(25), frame_count, variable=True)
