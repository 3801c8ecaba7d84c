"""Compares a fit with the truth of a simulated hall.

Clinic time has no zero of its own: it may be shifted as a whole, and is so by the start log.
Nor has it a rate of its own: sound compares the cameras' clocks with each other, not with true
time, and nobody cuts a clip by true time. So errors are taken between cameras at the same
instant, and of starts against the cameras' common clock at that instant: as far as the start lies
from where it is in the recordings.

How a stated uncertainty is judged: `u_*_ms` of a recording is its standard uncertainty against
the weighted mean of the other recordings at the same instant. So its error is taken against
exactly that (weights 1/u² of the others), at its begin, middle and end, and it is covered if it
lies within the expanded uncertainty 2 u (about 95 %).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from clinics.compute.clockfit import FILE_DATE, ClinicFit, RecordingFit
from tests.hall.hall import TAP_LATE_S, Hall, Recording

SURE, LOOK, NOT_FOUND = "sure", "look", "not-found"
WRONG_MS = 40.0
LOG_SLACK_S = 0.5  # a fit that took one start for the next is off by many seconds
FAR_BEYOND = 3.0  # times the expanded uncertainty, and more than FAR_BEYOND_MS
FAR_BEYOND_MS = 10.0
EXPANDED = 2.0
SAME_SIGNAL_S = 0.05
BESIDE_S = 60.0  # a clock is compared with others that run then, or did so shortly before or after
BEGIN, MIDDLE, END = "begin", "middle", "end"


@dataclass(frozen=True)
class PairError:
    """How far two cameras' recordings are apart from what is so, at one instant."""

    one: str
    other: str
    place: str
    error_ms: float
    both_sure: bool


@dataclass(frozen=True)
class Stated:
    """An error of a recording against the others, and the standard uncertainty it came with."""

    recording: str
    place: str
    error_ms: float
    u_ms: float


@dataclass
class Judged:
    """One clinic. `pairs` only between cameras that hear at least half of their starts;
    `wrong` are sentences: what is wrong and was called sure."""

    seed: int
    loudness: float
    signal_kind: str
    states: dict[str, str] = field(default_factory=dict)
    heard_half: dict[str, bool] = field(default_factory=dict)
    reasons: dict[str, str] = field(default_factory=dict)
    pairs: list[PairError] = field(default_factory=list)
    stated: list[Stated] = field(default_factory=list)
    start_errors_ms: list[float] = field(default_factory=list)
    starts_by: dict[str, int] = field(default_factory=dict)
    start_bias_ms: float | None = None
    log_off_s: float | None = None
    unlogged: int = 0
    unlogged_found: int = 0
    heard_falsely: int = 0
    wrong: list[str] = field(default_factory=list)

    def sure_pair_errors_ms(self) -> list[float]:
        return [abs(pair.error_ms) for pair in self.pairs if pair.both_sure]


class _Clock:
    """One recording's clock as fitted and as it is."""

    def __init__(self, truth: Recording, fit: RecordingFit) -> None:
        assert fit.zero_s is not None
        self.truth, self.fit, self.zero_s = truth, fit, fit.zero_s

    def error_s(self, instant_s: float) -> float:
        """Fitted clinic time minus true time of the sample taken at that true instant."""
        media_s = self.truth.media_s(instant_s)
        return self.zero_s + media_s * (1 + self.fit.rate_ppm * 1e-6) - instant_s

    @property
    def ends_s(self) -> tuple[float, float]:
        return self.truth.instant_s(0.0), self.truth.instant_s(self.truth.duration_s)

    @property
    def middle_s(self) -> float:
        return sum(self.ends_s) / 2

    def places(self) -> list[tuple[str, float, float]]:
        """(place, true instant, stated u in ms)."""
        begin_s, end_s = self.ends_s
        stated = (self.fit.u_begin_ms, self.fit.u_mid_ms, self.fit.u_end_ms)
        at_s = (begin_s, self.middle_s, end_s)
        return [
            (place, instant_s, u_ms)
            for place, instant_s, u_ms in zip((BEGIN, MIDDLE, END), at_s, stated, strict=True)
            if u_ms is not None
        ]

    def reaches(self, instant_s: float) -> bool:
        begin_s, end_s = self.ends_s
        return begin_s - BESIDE_S <= instant_s <= end_s + BESIDE_S

    def u_ms(self, instant_s: float) -> float:
        known = self.places()
        return float(
            np.interp(instant_s, [at_s for _, at_s, _ in known], [u_ms for *_, u_ms in known])
        )

    @property
    def by_more_than_its_date(self) -> bool:
        return self.fit.state == SURE or self.fit.method != FILE_DATE


def judge(hall: Hall, fit: ClinicFit, heard: Sequence[Any] = (), *, own_log: bool = True) -> Judged:
    """`own_log` False: the fit was given another hall's log, so nothing may be called sure."""
    judged = Judged(hall.seed, hall.loudness, hall.signal_kind)
    clocks = []
    for recording in hall.recordings:
        found = fit.recordings[recording.key]
        judged.states[recording.key] = found.state
        judged.reasons[recording.key] = found.reason
        judged.heard_half[recording.key] = _hears_half(hall, recording)
        if found.zero_s is not None:
            clocks.append(_Clock(recording, found))
    if not own_log:
        judged.wrong += [
            f"{key}: sure by a log of another hall"
            for key, state in judged.states.items()
            if state == SURE
        ]
        return judged
    fitted = [clock for clock in clocks if clock.by_more_than_its_date]
    judged.pairs = _pairs(fitted, judged.heard_half)
    judged.stated = _stated(fitted)
    judged.wrong = _wrong(fitted, judged.stated)
    if fitted:
        sure = [clock for clock in fitted if clock.fit.state == SURE] or fitted
        shift_s = float(np.median([clock.error_s(clock.middle_s) for clock in sure]))
        judged.log_off_s = shift_s - hall.log_shift_s - TAP_LATE_S
        if abs(judged.log_off_s) > LOG_SLACK_S and sure[0].fit.state == SURE:
            judged.wrong.append(f"all: {judged.log_off_s:+.1f} s against the log, called sure")
        _judge_starts(hall, fit, sure, judged)
        _judge_heard(hall, heard, sure, judged)
    return judged


def _hears_half(hall: Hall, recording: Recording) -> bool:
    """Half of all starts that its camera was running for; by itself, half of its own too."""
    files = [one for one in hall.recordings if one.camera == recording.camera]
    heard = sum(len(hall.heard(one)) for one in files)
    within = sum(len(hall.within(one)) for one in files)
    own, own_within = len(hall.heard(recording)), len(hall.within(recording))
    return 2 * heard >= within > 0 and 2 * own >= own_within > 0


def _pairs(clocks: list[_Clock], heard_half: dict[str, bool]) -> list[PairError]:
    """At begin, middle and end of the time in which both ran."""
    errors = []
    for number, one in enumerate(clocks):
        for other in clocks[number + 1 :]:
            if one.truth.camera == other.truth.camera:
                continue
            if not (heard_half[one.truth.key] and heard_half[other.truth.key]):
                continue
            from_s = max(one.ends_s[0], other.ends_s[0])
            to_s = min(one.ends_s[1], other.ends_s[1])
            if to_s <= from_s:
                continue
            both_sure = one.fit.state == other.fit.state == SURE
            for place, part in ((BEGIN, 0.0), (MIDDLE, 0.5), (END, 1.0)):
                at_s = from_s + part * (to_s - from_s)
                error_ms = 1000 * (one.error_s(at_s) - other.error_s(at_s))
                errors.append(PairError(one.truth.key, other.truth.key, place, error_ms, both_sure))
    return errors


def _stated(clocks: list[_Clock]) -> list[Stated]:
    """Every sure recording against the weighted mean of the other sure ones."""
    sure = [clock for clock in clocks if clock.fit.state == SURE]
    errors = []
    for own in sure:
        for place, at_s, u_ms in own.places():
            others = [other for other in sure if other is not own and other.reaches(at_s)]
            if not others:
                continue
            weights = [1 / (other.u_ms(at_s) ** 2 + 1e-6) for other in others]
            mean_s = np.average([other.error_s(at_s) for other in others], weights=weights)
            error_ms = 1000 * (own.error_s(at_s) - float(mean_s))
            errors.append(Stated(own.truth.key, place, error_ms, u_ms))
    return errors


def _wrong(clocks: list[_Clock], stated: Iterable[Stated]) -> list[str]:
    """Sure recordings that lie apart from most of the sure ones, or far beyond what they say."""
    sure = [clock for clock in clocks if clock.fit.state == SURE]
    wrong = []
    for own in sure:
        for place, at_s, _ in own.places():
            then_s = [clock.error_s(at_s) for clock in sure if clock.reaches(at_s)]
            off_ms = 1000 * (own.error_s(at_s) - float(np.median(then_s)))
            if len(then_s) == 2:  # the median lies half way between the two
                off_ms *= 2
            if abs(off_ms) > WRONG_MS:
                wrong.append(f"{own.truth.key}: {off_ms:+.0f} ms at its {place}, called sure")
                break
    for one in stated:
        if abs(one.error_ms) > max(FAR_BEYOND * EXPANDED * one.u_ms, FAR_BEYOND_MS):
            wrong.append(
                f"{one.recording}: {one.error_ms:+.1f} ms at its {one.place}, "
                f"said ± {EXPANDED * one.u_ms:.1f} ms"
            )
    return wrong


def _judge_starts(hall: Hall, fit: ClinicFit, clocks: list[_Clock], judged: Judged) -> None:
    """Starts that were heard, against the cameras' common clock, after one shift: the shift is
    `start_bias_ms` (where in the signal its onset was taken to be)."""
    emitted_s = {start.key: start.emitted_s for start in hall.starts}
    off_ms = []
    for key, swim in fit.swims.items():
        judged.starts_by[swim.by] = judged.starts_by.get(swim.by, 0) + 1
        if swim.by != "heard":
            continue
        at_s = emitted_s[key]
        common_s = [clock.error_s(at_s) for clock in clocks if clock.reaches(at_s)]
        if common_s:
            off_ms.append(1000 * (swim.start_s - at_s - float(np.median(common_s))))
    if off_ms:
        judged.start_bias_ms = float(np.median(off_ms))
        judged.start_errors_ms = [off - judged.start_bias_ms for off in off_ms]


def _judge_heard(hall: Hall, heard: Sequence[Any], clocks: list[_Clock], judged: Judged) -> None:
    """Signals heard that no swim explains: starts nobody pressed for, and practice starts."""
    unlogged_s = [start.emitted_s for start in hall.starts if start.tap_s is None]
    shift_s = float(np.median([clock.error_s(clock.middle_s) for clock in clocks]))
    about_s = [one.instant_s - shift_s for one in heard]
    heard_s = np.array(
        [
            one.instant_s - float(np.median([clock.error_s(at_s) for clock in clocks]))
            for one, at_s in zip(heard, about_s, strict=True)
        ]
    )
    signals_s = np.array([*unlogged_s, *hall.practice_s])
    judged.unlogged = len(unlogged_s)
    if not heard_s.size:
        return
    judged.unlogged_found = sum(
        bool(np.abs(heard_s - at_s).min() < SAME_SIGNAL_S) for at_s in unlogged_s
    )
    near_s = [np.abs(signals_s - at_s).min() if signals_s.size else np.inf for at_s in heard_s]
    judged.heard_falsely = int(np.sum(np.array(near_s) > SAME_SIGNAL_S))
