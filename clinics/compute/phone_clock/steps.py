"""Steps between a phone's two clocks, and which of the two is at fault.

Wall minus monotonic clock stays the same but for drift. A step in it means that the monotonic
clock stopped while the phone slept (then it jumps forward), or that somebody or the network set
the wall clock. Exchanges before and after tell which: server minus monotonic clock jumped as
well, or it did not. The bounds of exchanges are hard (`Offset.low_ms`, `high_ms`), so is what
they decide; where both answers lie within them, or there are none on one side, a step is
`undecided`. Only one thing is certain without: a monotonic clock does not jump forward, so a step
backward is the wall clock's.

A step smaller than `THRESHOLD_MS` cannot be told from clocks that are read one after the other,
and after a silence not from drift (`DRIFT_APART`): 0.1 s after a quarter of an hour.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from clinics.compute.phone_clock.exchange import RATE_LIMIT, Exchange, Offset, bursts

THRESHOLD_MS = 50.0
READ_MS = 10.0
"""Between reading the one clock and the other, as a rule far less."""
DRIFT_APART = 50e-6
"""Both clocks count the same crystal; the network's time may slow or hurry the wall clock."""
MONOTONIC, WALL, SERVER, UNDECIDED = "monotonic", "wall", "server", "undecided"
"""At fault: the monotonic clock stopped (or, below zero, ran ahead); the wall clock was set; the
server's clock was set, for this phone's two agree with each other; cannot be told."""


@dataclass(frozen=True, order=True)
class Reading:
    """Both clocks of a phone, read at once."""

    monotonic_ms: float
    wall_ms: float


@dataclass(frozen=True)
class Step:
    """Between two readings, `after_ms` and `before_ms` on the monotonic clock, wall minus
    monotonic clock grew by `size_ms` (at fault `server`: server minus monotonic clock did).

    `after_wall_ms`, `before_wall_ms`: the wall clock then, for saying when that was.
    """

    after_ms: float
    before_ms: float
    size_ms: float
    fault: str
    after_wall_ms: float
    before_wall_ms: float

    @property
    def at_ms(self) -> float:
        """The middle of where it can have been."""
        return (self.after_ms + self.before_ms) / 2

    @property
    def parts(self) -> bool:
        """Whether what lies before and after it has to be fitted apart."""
        return self.fault != WALL


def steps_of_run(exchanges: Iterable[Exchange], readings: Iterable[Reading]) -> list[Step]:
    """All steps within one run of a phone's clock, in order of time.

    `readings`: both clocks at each entry. Order and doubling of either change nothing.
    """
    usable = sorted({one for one in exchanges if one.is_possible})
    told = {*readings, *(Reading(one.sent_ms, one.wall_ms) for one in usable)}
    ordered = sorted(told)
    found = _steps_of_clocks(ordered)
    segments = between(usable, [step.at_ms for step in found])
    heard = [offset for segment in segments for offset in bursts(segment)]
    judged: list[Step] = []
    for before, after in zip([None, *heard], [*heard, None], strict=True):
        judged += _judge(before, after, found, ordered)
    return sorted(judged, key=lambda step: (step.at_ms, step.after_ms))


def between(exchanges: Iterable[Exchange], at_ms: Sequence[float]) -> list[list[Exchange]]:
    """Exchanges before the first of some places, between each two, and after the last."""
    parts: list[list[Exchange]] = [[] for _ in range(len(at_ms) + 1)]
    for one in exchanges:
        parts[sum(place <= one.sent_ms for place in at_ms)].append(one)
    return parts


def _steps_of_clocks(readings: Sequence[Reading]) -> list[Step]:
    steps = []
    for one, other in zip(readings, readings[1:], strict=False):
        apart_ms = other.monotonic_ms - one.monotonic_ms
        size_ms = (other.wall_ms - one.wall_ms) - apart_ms
        if abs(size_ms) > THRESHOLD_MS + DRIFT_APART * apart_ms:
            steps.append(_step(one, other, size_ms, UNDECIDED))
    return steps


def _step(one: Reading, other: Reading, size_ms: float, fault: str) -> Step:
    return Step(
        after_ms=one.monotonic_ms,
        before_ms=other.monotonic_ms,
        size_ms=size_ms,
        fault=fault,
        after_wall_ms=one.wall_ms,
        before_wall_ms=other.wall_ms,
    )


def _judge(
    before: Offset | None, after: Offset | None, found: Sequence[Step], readings: Sequence[Reading]
) -> list[Step]:
    """The steps between two offsets that follow each other, with who is at fault."""
    from_ms = before.at_ms if before else -math.inf
    to_ms = after.at_ms if after else math.inf
    steps = [step for step in found if from_ms <= step.at_ms < to_ms]
    if before is None or after is None:
        return [_alone(step) for step in steps]
    least_ms, most_ms = _jump(before, after)
    stayed = least_ms <= 0 <= most_ms
    if not steps:
        return [] if stayed else _of_server(before, after, readings)
    size_ms = sum(step.size_ms for step in steps)
    slack_ms = sum(READ_MS + DRIFT_APART * (step.before_ms - step.after_ms) for step in steps)
    jumped = least_ms - slack_ms <= size_ms <= most_ms + slack_ms
    if stayed and jumped:
        return [_alone(step) for step in steps]
    fault = WALL if stayed else MONOTONIC if jumped else UNDECIDED
    return [replace(step, fault=fault) for step in steps]


def _alone(step: Step) -> Step:
    """What can be said of a step without exchanges that tell."""
    return replace(step, fault=UNDECIDED if step.size_ms > 0 else WALL)


def _jump(before: Offset, after: Offset) -> tuple[float, float]:
    """Between what server minus monotonic clock must have grown by, drift aside."""
    drift_ms = RATE_LIMIT * (after.at_ms - before.at_ms)
    return after.low_ms - before.high_ms - drift_ms, after.high_ms - before.low_ms + drift_ms


def _of_server(before: Offset, after: Offset, readings: Sequence[Reading]) -> list[Step]:
    """A jump of the server's clock that neither clock of the phone made. None, if the monotonic
    clock fell behind little by little: then it runs unevenly, and the line's fit says so."""
    one, other = (
        max(reading for reading in readings if reading.monotonic_ms <= offset.at_ms)
        for offset in (before, after)
    )
    least_ms, most_ms = _jump(before, after)
    apart_ms = other.monotonic_ms - one.monotonic_ms
    lost_ms = (other.wall_ms - one.wall_ms) - apart_ms
    slack_ms = READ_MS + DRIFT_APART * apart_ms
    if least_ms - slack_ms <= lost_ms <= most_ms + slack_ms:
        return []
    return [_step(one, other, (least_ms + most_ms) / 2, SERVER)]
