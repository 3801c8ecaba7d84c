"""The demo clinics: two afternoons of one club that differ in all that aligning must bear.

Autumn: 50 m, four stations, a horn, one camera that makes a file for each lane group, one that
splits its recording, one that hears nothing, camera dates that are wrong by up to an hour, a start
that nobody logged, another lane's practice start with the same horn.
Winter: 75 m, three stations, a whistle, no dates at all, one camera that began late, a swimmer
who did not agree to be filmed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from fractions import Fraction

from clinics.management.demo.cast import AUTUMN_SWIMMERS, WINTER_SWIMMERS, DemoSwimmer
from clinics.management.demo.motion import COURSE_M
from clinics.management.demo.sound import speed_of_sound_m_per_s

TIME_ZONE = "Europe/Dublin"
CLUB_SLUG = "harbour-lane-masters"
VENUE = "Millrace Baths"


@dataclass(frozen=True)
class DemoStation:
    """A station and its camera.

    ``clock_ahead_s``: what the camera's own clock shows more than the true time. ``rate_ppm``:
    clinic seconds per media second, minus one, in millionths.
    """

    slug: str
    name: str
    x_m: float
    y_m: float
    z_m: float
    camera: str
    files: tuple[str, ...]
    frames_per_s: Fraction
    clock_ahead_s: float
    rate_ppm: float
    loudness_at_1_m: float
    """Zero: it hears nothing, and its files have no sound."""
    sound_codec: str = "aac"
    variable: bool = False
    file_per_group: bool = False
    begins_after_starts: int = 0
    """The camera was switched on only after so many starts."""

    @property
    def kind(self) -> str:
        """The demo has one station of each kind, named after it."""
        return self.slug

    @property
    def hears_start(self) -> bool:
        return self.loudness_at_1_m > 0


@dataclass(frozen=True)
class Practice:
    """A start in another lane with the same signal, heard and never logged.

    It sounds ``after_s`` after the swim of ``number`` started.
    """

    number: int
    after_s: float
    x_m: float
    y_m: float
    loudness: float


@dataclass(frozen=True)
class DemoClinic:
    """All of one clinic that is fixed; times and sounds follow from a seed (scenario.py)."""

    slug: str
    name: str
    epoch: datetime
    """The truth epoch: painted instants and seconds count from here."""
    lengths: int
    air_temperature_c: float
    starter_m: tuple[float, float]
    signal: str
    stations: tuple[DemoStation, ...]
    swimmers: tuple[DemoSwimmer, ...]
    short_numbers: tuple[int, int]
    """Who swims in the short version: one of each lane group, if there are two."""
    dated_files: bool
    not_tapped: frozenset[int] = frozenset()
    tapped_very_late: frozenset[int] = frozenset()
    practice: tuple[Practice, ...] = field(default=())

    @property
    def distance_m(self) -> float:
        return COURSE_M * self.lengths

    @property
    def lane_groups(self) -> list[str]:
        return list(dict.fromkeys(swimmer.lane_group for swimmer in self.swimmers))

    def travel_s(self, station: DemoStation, from_m: tuple[float, float]) -> float:
        """Sound's way to a station, in plan: microphones and horn are about level."""
        distance_m = math.hypot(station.x_m - from_m[0], station.y_m - from_m[1])
        return distance_m / speed_of_sound_m_per_s(self.air_temperature_c)

    def instant_at(self, clinic_s: float) -> datetime:
        """Seconds since the truth epoch as an instant, to the microsecond."""
        return self.epoch + timedelta(microseconds=round(clinic_s * 1e6))


NTSC = Fraction(30000, 1001)
FILM = Fraction(24000, 1001)

AUTUMN = DemoClinic(
    slug="harbour-autumn",
    name="Autumn clinic",
    epoch=datetime(2026, 11, 14, 10, 0, 0, tzinfo=UTC),
    lengths=2,
    air_temperature_c=27.0,
    starter_m=(0.0, 1.0),
    signal="horn",
    stations=(
        DemoStation(
            "start-side", "Start side", 3.0, -2.0, 1.6, "Start camera", ("START001.MP4",),
            Fraction(25), 7.3, 35.0, 1.9, variable=True, file_per_group=True,
        ),
        DemoStation(
            "underwater", "Underwater", 12.5, 5.0, -0.7, "Sub camera", ("UW_0031.MP4",),
            Fraction(25), -12.8, -60.0, 0.0,
        ),
        DemoStation(
            "turn-window", "Turn window", 25.0, -0.8, -0.5, "Window camera",
            ("00012.MTS", "00013.MTS"), Fraction(25), 3602.4, 12.0, 4.6, sound_codec="ac3",
        ),
        DemoStation(
            "deck", "Deck", 9.0, -2.2, 1.7, "Deck camera", ("DECK0007.MOV",),
            NTSC, 41.6, -52.0, 3.1,
        ),
    ),
    swimmers=AUTUMN_SWIMMERS,
    short_numbers=(11, 21),
    dated_files=True,
    not_tapped=frozenset({14}),
    tapped_very_late=frozenset({24}),
    practice=(Practice(number=22, after_s=11.3, x_m=0.0, y_m=8.5, loudness=0.9),),
)  # fmt: skip

WINTER = DemoClinic(
    slug="harbour-winter",
    name="Winter clinic",
    epoch=datetime(2026, 2, 7, 15, 30, 0, tzinfo=UTC),
    lengths=3,
    air_temperature_c=29.0,
    starter_m=(0.4, -1.2),
    signal="whistle",
    stations=(
        DemoStation(
            "start-side", "Start side", 2.0, -2.6, 1.5, "Tripod camera", ("MOV_0904.MOV",),
            FILM, 0.0, -45.0, 2.4, sound_codec="pcm_s16le",
        ),
        DemoStation(
            "turn-window", "Turn window", 25.0, 1.1, -0.4, "Window phone", ("VID_0001.MP4",),
            Fraction(25), 0.0, 62.0, 5.0, variable=True,
        ),
        DemoStation(
            "deck", "Deck", 11.0, -2.4, 1.8, "Deck camera", ("STREAM.TS",),
            Fraction(25), 0.0, -14.0, 3.0, sound_codec="mp2", begins_after_starts=2,
        ),
    ),
    swimmers=WINTER_SWIMMERS,
    short_numbers=(6, 8),  # who swims alike in autumn
    dated_files=False,
)  # fmt: skip

CLINICS = {clinic.slug: clinic for clinic in (AUTUMN, WINTER)}
