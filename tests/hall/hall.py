"""A hall in which the truth is imposed: cameras' soundtracks, a start log, and what is so.

Every recording is rendered on its own sample grid, `instant = zero_s + media_s / slow_motion *
(1 + rate)`, from sounds that are functions of continuous time. Sound travels at 343 m/s and
fades with 1/r; what the hall throws back is as loud everywhere (so it grows against the direct
sound with distance) and dies away by 60 dB in 1.8 s.

All instants are seconds of true time from the hall's first minute; the start log runs on a
clock of its own, `log_shift_s` ahead (hours).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from clinics.compute import clockfit
from tests.hall.sounds import BURST_SPREAD, Sound, burst, noise_banks, start_signal

SOUND_M_PER_S = 343.0
CAMERAS_M = ((0.0, 2.0), (25.0, 3.0), (50.0, -1.0))
STARTER_M = (0.0, 1.0)
PRACTICE_M = (0.0, 6.0)  # two lanes of 2.5 m away
APART_S = (31.0, 52.0)
FIRST_START_S = 45.0
PRACTICE_APART_S = (20.0, 40.0)
BURSTS_PER_S = 2.0
REVERBERATION_S = 1.8
REVERBERATION_M = 50.0  # at this distance what comes back has as much energy as the direct sound
HISS = 0.01  # standard deviation of the noise, median burst at 1 m = 1
RATE_LIMIT_PPM = 100.0
OFFSET_LIMIT_S = 20.0
TAP_LATE_S, TAP_SCATTER_S, TAP_U_S = 0.20, 0.08, 0.15
TAP_JITTER_SHARE, TAP_JITTER_S = 0.1, 0.4
FRAME_S = 1 / 50


@dataclass(frozen=True)
class Recording:
    """One file of one camera. `instant = zero_s + media_s / slow_motion * (1 + rate)`."""

    key: str
    camera: str
    order: int
    zero_s: float
    rate_ppm: float
    slow_motion: float
    began_s: float | None  # as its file date says, on the log's clock: wrong by hours, or missing
    travel_s: float
    rate_hz: int
    samples: NDArray[np.int16] = field(repr=False)

    @property
    def duration_s(self) -> float:
        return self.samples.size / self.rate_hz

    @property
    def per_media_s(self) -> float:
        return (1 + self.rate_ppm * 1e-6) / self.slow_motion

    def instant_s(self, media_s: float) -> float:
        return self.zero_s + media_s * self.per_media_s

    def media_s(self, instant_s: float) -> float:
        return (instant_s - self.zero_s) / self.per_media_s

    def covers(self, instant_s: float) -> bool:
        return 0.0 <= self.media_s(instant_s) <= self.duration_s


@dataclass(frozen=True)
class Start:
    """`tap_s` on the log's clock, None if nobody pressed; `heard_by` cameras it reached."""

    key: str
    emitted_s: float
    tap_s: float | None
    heard_by: frozenset[str]


@dataclass(frozen=True)
class Soundtrack:
    """As `clinics.compute.oneclock.Soundtrack`, for as long as that cannot be imported."""

    key: str
    samples: NDArray[np.int16]
    rate_hz: int
    travel_s: float


@dataclass(frozen=True)
class Hall:
    seed: int
    loudness: float
    signal_kind: str
    signal: Sound = field(repr=False)
    log_shift_s: float
    recordings: tuple[Recording, ...]
    starts: tuple[Start, ...]
    practice_s: tuple[float, ...]

    def heard(self, recording: Recording) -> list[Start]:
        """The starts that this recording holds: within it, and not drowned."""
        return [
            start
            for start in self.starts
            if recording.camera in start.heard_by and self._within(recording, start)
        ]

    def within(self, recording: Recording) -> list[Start]:
        """The starts that were given while this recording ran, heard or not."""
        return [start for start in self.starts if self._within(recording, start)]

    @staticmethod
    def _within(recording: Recording, start: Start) -> bool:
        return recording.covers(start.emitted_s + recording.travel_s)

    def inputs(
        self, log: Hall | None = None, *, slow_motion_told: bool = False
    ) -> tuple[list[Any], list[clockfit.SwimIn], list[clockfit.TieIn], list[Any]]:
        """What `place_all` takes; with `log`, the start log of that hall instead of our own.

        `slow_motion_told`: a person has said by which factor a camera stretched its recording.
        """
        recordings = [_recording_in(one, slow_motion_told) for one in self.recordings]
        swims = [
            clockfit.SwimIn(start.key, start.tap_s, TAP_U_S)
            for start in (log or self).starts
            if start.tap_s is not None
        ]
        tracks = [
            _soundtrack_type()(one.key, one.samples, one.rate_hz, one.travel_s)
            for one in self.recordings
        ]
        return recordings, swims, [], tracks


def _recording_in(one: Recording, slow_motion_told: bool) -> clockfit.RecordingIn:
    """`order` and the rest only once the aligner knows them."""
    made = clockfit.RecordingIn(one.key, one.camera, one.duration_s, FRAME_S)
    factor = one.slow_motion if slow_motion_told else 1.0
    known: dict[str, Any] = {"order": one.order, "began_s": one.began_s, "slow_motion": factor}
    return replace(made, **{name: value for name, value in known.items() if hasattr(made, name)})


def _soundtrack_type() -> type:
    try:
        from clinics.compute.oneclock import Soundtrack as Theirs
    except ImportError:
        return Soundtrack
    return Theirs


# --- the scene -----------------------------------------------------------------------------


@dataclass(frozen=True)
class _Event:
    """A sound somewhere; `number` seeds a burst, None is the start signal."""

    emitted_s: float
    place_m: tuple[float, float]
    loudness: float
    number: int | None
    drowned_for: frozenset[int] = frozenset()


@dataclass(frozen=True)
class _Span:
    """What a recording is to cover, before it has samples."""

    camera: int
    order: int
    zero_s: float
    rate_ppm: float
    slow_motion: float
    duration_s: float
    began_s: float | None


def make_hall(
    seed: int,
    *,
    minutes: float = 30.0,
    starts: int = 40,
    loudness: float = 1.5,
    heard_share: Sequence[float] = (0.98, 0.85, 0.70),
    cameras_m: Sequence[tuple[float, float]] = CAMERAS_M,
    practice: bool = False,
    group_files: bool = False,
    taps_missing: float = 0.1,
    rate_hz: int = 8000,
    slow_motion: tuple[int, float] | None = None,
    reverberation_m: float = REVERBERATION_M,
    starter_moves_m: float = 0.0,
) -> Hall:
    """The hall of this seed.

    `loudness` is the start signal's peak in median bursts, both at 1 m; `slow_motion` (camera,
    factor) stretches that camera's recordings, which then hold a `factor`-th of the time;
    `starter_moves_m` is how far (standard deviation) the starter stands from the told place.
    Sounds, places and clocks are the same for each seed whatever the loudness.
    """
    if len(heard_share) != len(cameras_m):
        raise ValueError("each camera needs its share of heard starts")
    kind, signal = start_signal(_rng(seed, "signal"))
    emitted_s = _emissions_s(_rng(seed, "starts"), starts, minutes)
    log_shift_s = _log_shift_s(_rng(seed, "log"))
    taps_s = _taps_s(_rng(seed, "taps"), emitted_s, taps_missing)
    reached = _rng(seed, "heard").random((starts, len(cameras_m))) < np.asarray(heard_share)
    practice_s = _practice_s(_rng(seed, "practice"), minutes) if practice else ()
    spans = _spans(_rng(seed, "cameras"), len(cameras_m), minutes, log_shift_s, slow_motion)
    if group_files:
        spans = _in_groups(_rng(seed, "groups"), spans, emitted_s)
    moved_m = starter_moves_m * _rng(seed, "starter").standard_normal((starts, 2))
    stood_m = [(STARTER_M[0] + float(x), STARTER_M[1] + float(y)) for x, y in moved_m]
    events = _bursts(_rng(seed, "bursts"), minutes)
    events += [_Event(at_s, PRACTICE_M, loudness, None) for at_s in practice_s]
    events += [
        _Event(at_s, place_m, loudness, None, frozenset(map(int, np.flatnonzero(~row))))
        for at_s, place_m, row in zip(emitted_s, stood_m, reached, strict=True)
    ]
    banks = noise_banks(_rng(seed, "banks"))
    recordings = tuple(
        _recorded(seed, span, cameras_m[span.camera], events, signal, banks, rate_hz,
                  reverberation_m)
        for span in spans
    )  # fmt: skip
    return Hall(
        seed=seed,
        loudness=loudness,
        signal_kind=kind,
        signal=signal,
        log_shift_s=log_shift_s,
        recordings=recordings,
        starts=tuple(
            Start(
                f"swim {number}",
                float(at_s),
                None if tap_s is None else tap_s + log_shift_s,
                frozenset(_camera(int(c)) for c in np.flatnonzero(row)),
            )
            for number, (at_s, tap_s, row) in enumerate(
                zip(emitted_s, taps_s, reached, strict=True)
            )
        ),
        practice_s=tuple(practice_s),
    )


def _rng(seed: int, purpose: str) -> np.random.Generator:
    """A stream of its own per purpose, so that one option does not change the rest."""
    return np.random.default_rng([seed, *purpose.encode()])


def _camera(number: int) -> str:
    return f"camera {number}"


def _emissions_s(rng: np.random.Generator, starts: int, minutes: float) -> NDArray[np.float64]:
    """31 to 52 s apart if forty fill half an hour; as much wider as the time allows."""
    wider = minutes / 30.0 * 40.0 / starts
    apart_s = rng.uniform(*APART_S, starts) * wider
    return FIRST_START_S + np.cumsum(apart_s) - apart_s[0]


def _log_shift_s(rng: np.random.Generator) -> float:
    hours = int(rng.integers(1, 13)) * (1 if rng.random() < 0.5 else -1)
    return 3600.0 * hours + float(rng.uniform(-30.0, 30.0))


def _taps_s(
    rng: np.random.Generator, emitted_s: NDArray[np.float64], missing: float
) -> list[float | None]:
    late_s = rng.normal(TAP_LATE_S, TAP_SCATTER_S, emitted_s.size)
    jittered = rng.random(emitted_s.size) < TAP_JITTER_SHARE
    late_s += jittered * rng.uniform(0.0, TAP_JITTER_S, emitted_s.size)
    pressed = rng.random(emitted_s.size) >= missing
    return [
        float(at_s + late) if was else None
        for at_s, late, was in zip(emitted_s, late_s, pressed, strict=True)
    ]


def _practice_s(rng: np.random.Generator, minutes: float) -> tuple[float, ...]:
    apart_s = rng.uniform(*PRACTICE_APART_S, int(minutes * 60 / PRACTICE_APART_S[0]) + 1)
    at_s = np.cumsum(apart_s)
    return tuple(map(float, at_s[at_s < minutes * 60]))


def _bursts(rng: np.random.Generator, minutes: float) -> list[_Event]:
    """Anywhere in the pool (50 by 21 m) and up to 4 m beside it."""
    length_s = minutes * 60 + 2 * OFFSET_LIMIT_S + 10.0
    count = int(rng.poisson(BURSTS_PER_S * length_s))
    at_s = rng.uniform(-OFFSET_LIMIT_S - 5.0, length_s - OFFSET_LIMIT_S - 5.0, count)
    x_m, y_m = rng.uniform(-4.0, 54.0, count), rng.uniform(-4.0, 25.0, count)
    loudness = rng.lognormal(0.0, BURST_SPREAD, count)
    return [
        _Event(float(at_s[n]), (float(x_m[n]), float(y_m[n])), float(loudness[n]), n)
        for n in range(count)
    ]


def _spans(
    rng: np.random.Generator,
    cameras: int,
    minutes: float,
    log_shift_s: float,
    slow_motion: tuple[int, float] | None,
) -> list[_Span]:
    spans = []
    for camera in range(cameras):
        zero_s = float(rng.uniform(-OFFSET_LIMIT_S, OFFSET_LIMIT_S))
        rate_ppm = float(rng.uniform(-RATE_LIMIT_PPM, RATE_LIMIT_PPM))
        hours, dated = int(rng.integers(1, 12)) * int(rng.choice((-1, 1))), rng.random() < 0.6
        wrong_s = 3600.0 * hours + float(rng.uniform(-1200.0, 1200.0))
        began_s = math.floor(zero_s + log_shift_s + wrong_s) if dated else None
        factor = slow_motion[1] if slow_motion and slow_motion[0] == camera else 1.0
        spans.append(
            _Span(camera, 0, zero_s, rate_ppm, factor, minutes * 60.0, began_s)
        )  # fmt: skip
    return spans


def _in_groups(
    rng: np.random.Generator, spans: list[_Span], emitted_s: NDArray[np.float64]
) -> list[_Span]:
    """The start camera's recording in one file per group of five or six starts, with gaps."""
    whole = spans[0]
    files: list[_Span] = []
    first = 0
    while first < emitted_s.size:
        last = min(first + int(rng.integers(5, 7)), emitted_s.size) - 1
        if emitted_s.size - 1 - last < 3:  # no file for the one or two that would be left
            last = emitted_s.size - 1
        begin_s = max(whole.zero_s, emitted_s[first] - rng.uniform(4.0, 12.0))
        end_s = emitted_s[last] + rng.uniform(8.0, 15.0)
        began_s = whole.began_s
        if began_s is not None:
            began_s = math.floor(began_s + begin_s - whole.zero_s)
        files.append(
            replace(
                whole,
                order=len(files),
                zero_s=float(begin_s),
                duration_s=float(end_s - begin_s),
                began_s=began_s,
            )
        )
        first = last + 1
    return files + spans[1:]


# --- rendering -----------------------------------------------------------------------------


def _recorded(
    seed: int,
    span: _Span,
    place_m: tuple[float, float],
    events: list[_Event],
    signal: Sound,
    banks: list[NDArray[np.float32]],
    rate_hz: int,
    reverberation_m: float,
) -> Recording:
    count = int(span.duration_s * rate_hz)
    step_s = (1 + span.rate_ppm * 1e-6) / span.slow_motion / rate_hz
    direct = np.zeros(count, np.float32)
    thrown = np.zeros(count, np.float32)
    for event in events:
        if span.camera in event.drowned_for:
            continue
        distance_m = math.dist(event.place_m, place_m)
        arrival_s = event.emitted_s + distance_m / SOUND_M_PER_S - span.zero_s
        sound = signal
        if not -1.0 < arrival_s < count * step_s:
            continue
        if event.number is not None:
            sound = burst(np.random.default_rng([seed, 7919, event.number]), banks)
        first = max(0, math.ceil(arrival_s / step_s))
        past = min(count, math.ceil((arrival_s + sound.length_s) / step_s))
        if past <= first:
            continue
        heard = (
            sound.at(step_s * np.arange(first, past, dtype=np.float64) - arrival_s) * event.loudness
        )
        direct[first:past] += heard / max(1.0, distance_m)
        thrown[first:past] += heard
    rng = _rng(seed, f"air {span.camera}.{span.order}")
    _add_reverberation(direct, thrown, _tail(seed, span, step_s, reverberation_m))
    _add_hiss(direct, rng)
    return Recording(
        key=f"camera {span.camera} file {span.order}",
        camera=_camera(span.camera),
        order=span.order,
        zero_s=span.zero_s,
        rate_ppm=span.rate_ppm,
        slow_motion=span.slow_motion,
        began_s=span.began_s,
        travel_s=math.dist(STARTER_M, place_m) / SOUND_M_PER_S,
        rate_hz=rate_hz,
        samples=_as_int16(direct),
    )


def _tail(seed: int, span: _Span, step_s: float, reverberation_m: float) -> NDArray[np.float32]:
    """What the hall returns of a click, at this camera: noise that dies away by 60 dB."""
    rng = _rng(seed, f"tail {span.camera}")
    at_s = np.arange(int(1.2 * REVERBERATION_S / step_s)) * step_s
    tail = rng.standard_normal(at_s.size) * np.exp(-math.log(1000.0) * at_s / REVERBERATION_S)
    tail *= np.clip((at_s - 0.004) / 0.012, 0.0, 1.0)  # the first walls are metres away
    tail /= np.sqrt((tail**2).sum()) * reverberation_m
    return tail.astype(np.float32)


def _add_reverberation(
    onto: NDArray[np.float32], source: NDArray[np.float32], tail: NDArray[np.float32]
) -> None:
    """Convolved block by block: the whole soundtrack is never transformed at once."""
    size = 1 << max(17, (4 * tail.size).bit_length())
    step = size - tail.size + 1
    bent = np.fft.rfft(tail, size)
    for first in range(0, source.size, step):
        block = np.fft.irfft(np.fft.rfft(source[first : first + step], size) * bent, size)
        room = onto[first : first + size]
        room += block[: room.size].astype(np.float32)


def _add_hiss(onto: NDArray[np.float32], rng: np.random.Generator) -> None:
    """Coloured noise of pumps, air and the camera itself: falling with frequency."""
    block, state = 1 << 20, np.zeros(1)
    for first in range(0, onto.size, block):
        room = onto[first : first + block]
        white = rng.standard_normal(room.size, dtype=np.float32)
        low, state = lfilter([math.sqrt(1 - 0.95**2)], [1.0, -0.95], white, zi=state)
        room += (HISS * (0.9 * low + 0.4 * white)).astype(np.float32)


def _as_int16(sound: NDArray[np.float32]) -> NDArray[np.int16]:
    """As a camera that sets its level by the usual and clips the loudest."""
    every = max(1, sound.size // 200_000)
    loud = float(np.quantile(np.abs(sound[::every]), 0.9995))
    sound *= 16000.0 / loud
    np.clip(sound, -32768, 32767, out=sound)
    return np.rint(sound, out=sound).astype(np.int16)
