"""How far the server's clock is ahead of a phone's, from time stamps that went to and fro.

    server receives at  sent + offset + there        there, back >= 0: delays, never known
    phone has answer at answered - offset + back     apart, only their sum (the round trip)

So `server - sent` can only be too large and `answered - came` only too small: whatever the
delays, the offset lies between the least of the first and the greatest of the second. That is
the hard bound, `low_ms` to `high_ms`; of several exchanges the quickest one each way makes it.
Offset and round trip are those of RFC 5905 section 8 (as quoted in its errata 5020 and 3125);
taking the least delay of several is its clock filter (section 10), and leaving out an exchange
that contradicts most others its intersection (section 11.2.1), both from memory.

The middle of the bound is stated. How far it is off is (there - back) / 2, and of that:
- what is left of waiting shows in the scatter. The least of n waits with mean w is about w / n
  too long; w is taken from the exchanges themselves, each way by itself, and as far as these
  are few from `WAIT_SHARE` of the bound.
- how the steady part of the round trip divides never shows, however many exchanges there are.
  It is assumed: 97 in 100 phones have a least delay there and back of which the longer is at
  most some six times the shorter (`SPLIT`; exactly: both drawn from one gamma distribution of
  shape 4, the share of one is then Beta(4, 4), 97.6 % of it within 0.5 ± 0.35).

`u_ms` is a standard uncertainty made so that twice it (k = 2, `expanded_ms`) covers in 95 to
99.5 % of runs and its median is at most 3 times the median error. Imposed delays in the tests
show where that holds: networks whose two ways differ from phone to phone by up to that much,
symmetrical on average or not. What is assumed fixes both figures, so other networks leave the
bar at one end or the other. Seen were 94 to 99.3 % and up to 3.6 times where the ways are alike on
average; and only 79 to 90 % where one way is twice the other on average and each differs by half
of itself from phone to phone besides, so that one phone in eight is beyond what is assumed. It
does not hold at all, and nothing measured here could tell, where the ways
- are always the same length: then it covers always, and is many times the error;
- always differ by some six times or more: then it covers seldom or never, and only the hard
  bound is sure. A request that first has to open a connection comes near that: a phone should
  send one to throw away before those that count.
One exchange alone, on a network that makes it wait far longer than its least delay, is covered
in some 87 % of runs.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

RATE_LIMIT = 200e-6
"""No phone's clock runs off by more. Crystals are good to 20 or 50 millionths."""
RESOLUTION_MS = 1.0
"""Browsers round performance.now(), some of them down to whole milliseconds."""
RESOLUTION_U_MS = RESOLUTION_MS / math.sqrt(12)
SPLIT = 0.70
WAIT, WAIT_SHARE, WAIT_COUNT = 1.6, 0.13, 2
"""Waiting left each way: 97 in 100 differences are within `WAIT` times their sum. `WAIT_SHARE`
of the bound each way is believed as if `WAIT_COUNT` exchanges had shown it."""
MOST_SHARE = 0.97
BURST_GAP_MS, BURST_MS = 20_000.0, 20_000.0
"""Exchanges that follow each other this closely, and not for longer, tell one offset."""


@dataclass(frozen=True, order=True)
class Exchange:
    """One time stamp to the server and back. `sent_ms` and `came_ms` on the phone's monotonic
    clock, `server_ms` (receipt) and `answered_ms` on the server's, since 1970; they may be equal.
    `wall_ms`: the phone's wall clock at sending."""

    sent_ms: float
    server_ms: float
    answered_ms: float
    came_ms: float
    wall_ms: float

    @property
    def round_trip_ms(self) -> float:
        """Both delays together."""
        return (self.came_ms - self.sent_ms) - (self.answered_ms - self.server_ms)

    @property
    def at_ms(self) -> float:
        """The middle, on the monotonic clock."""
        return (self.sent_ms + self.came_ms) / 2

    @property
    def is_possible(self) -> bool:
        """False: an answer before the question, or no number at all. It is left out."""
        told = (self.sent_ms, self.server_ms, self.answered_ms, self.came_ms, self.wall_ms)
        return (
            all(math.isfinite(one) for one in told)
            and self.came_ms >= self.sent_ms
            and self.answered_ms >= self.server_ms
            and self.round_trip_ms >= -RESOLUTION_MS
        )


@dataclass(frozen=True)
class Offset:
    """`offset_ms`: server minus monotonic clock when the latter showed `at_ms`.

    `u_ms`: standard uncertainty. `low_ms`, `high_ms`: the offset lies between, whatever the
    delays were. `exchanges` made it; `refused` were impossible or contradicted most others.
    """

    at_ms: float
    offset_ms: float
    u_ms: float
    low_ms: float
    high_ms: float
    exchanges: int
    refused: int = 0

    @property
    def expanded_ms(self) -> float:
        """Within this in 95 to 99.5 % of runs: k = 2."""
        return 2 * self.u_ms

    @property
    def server_ms(self) -> float:
        return self.at_ms + self.offset_ms


def best_offset(exchanges: Iterable[Exchange]) -> Offset | None:
    """The offset of several exchanges; None: there is no possible one, or no majority agrees.

    The same exchange given twice counts once. They should lie within seconds of each other
    (`bursts`): each is widened by what the clock may run off until the quickest of them.

    >>> best = best_offset([Exchange(1000, 500_010, 500_010, 1020, 0)])
    >>> best.offset_ms, best.low_ms, best.high_ms
    (499000.0, 498989.0, 499011.0)
    """
    told = sorted(set(exchanges))
    possible = [one for one in told if one.is_possible]
    if not possible:
        return None
    at_ms = min(possible, key=lambda one: one.round_trip_ms).at_ms
    origin_ms = math.floor(possible[0].server_ms)
    up_ms = np.array([(one.server_ms - origin_ms) - one.sent_ms for one in possible])
    down_ms = np.array([one.came_ms - (one.answered_ms - origin_ms) for one in possible])
    aside_ms = RATE_LIMIT * np.abs([one.at_ms - at_ms for one in possible])
    up_ms, down_ms = up_ms + aside_ms, down_ms + aside_ms
    agree = _agreeing(up_ms + RESOLUTION_MS, down_ms + RESOLUTION_MS)
    if 2 * np.count_nonzero(agree) <= len(possible):
        return None
    up_ms, down_ms = up_ms[agree], down_ms[agree]
    middle_ms, u_ms = middle_and_u_ms(up_ms, down_ms)
    return Offset(
        at_ms=at_ms,
        offset_ms=origin_ms + float(middle_ms),
        u_ms=float(u_ms),
        low_ms=origin_ms - float(down_ms.min()) - RESOLUTION_MS,
        high_ms=origin_ms + float(up_ms.min()) + RESOLUTION_MS,
        exchanges=len(up_ms),
        refused=len(told) - len(up_ms),
    )


def middle_and_u_ms(up_ms: Floats, down_ms: Floats) -> tuple[Floats, Floats]:
    """Estimate and standard uncertainty of what lies below all `up_ms` and above all `-down_ms`.

    Shapes (..., n) and (..., m), n and m >= 1; the results (...). `up_ms` are the truth plus a
    delay, `down_ms` minus the truth plus a delay; there is no order among either.

    >>> middle, u = middle_and_u_ms(np.array([[40.0]]), np.array([[-20.0]]))
    >>> float(middle[0]), bool(2 * u[0] < 10)
    (30.0, True)
    """
    least_up, least_down = up_ms.min(axis=-1), down_ms.min(axis=-1)
    round_trip = np.maximum(least_up + least_down, 0.0)
    waits = _wait_left(up_ms, round_trip) + _wait_left(down_ms, round_trip)
    waits = np.minimum(waits, round_trip)
    expanded = np.hypot(SPLIT * (round_trip - waits), WAIT * waits) / 2
    expanded = np.minimum(expanded, MOST_SHARE * round_trip / 2)
    return (least_up - least_down) / 2, np.hypot(expanded / 2, RESOLUTION_U_MS)


def _wait_left(way_ms: Floats, round_trip: Floats) -> Floats:
    """By how much the least delay of one way is about too long."""
    count = way_ms.shape[-1]
    scatter = (way_ms - way_ms.min(axis=-1, keepdims=True)).sum(axis=-1)
    mean = (scatter + WAIT_COUNT * WAIT_SHARE * round_trip) / (count - 1 + WAIT_COUNT)
    return np.asarray(mean / count, dtype=np.float64)


def _agreeing(up_ms: Floats, down_ms: Floats) -> NDArray[np.bool_]:
    """Which bounds hold at the value that most of them allow."""
    tried = -down_ms[:, None]
    holds = (tried <= up_ms) & (tried >= -down_ms)
    return np.asarray(holds[int(np.argmax(holds.sum(axis=1)))])


def bursts(exchanges: Iterable[Exchange]) -> list[Offset]:
    """One offset for each group of exchanges that follow each other closely, in order of time.

    Groups without a possible exchange, or without a majority that agrees, are missing.
    """
    groups: list[list[Exchange]] = []
    for one in sorted({one for one in exchanges if one.is_possible}):
        if groups and _belongs(one, groups[-1]):
            groups[-1].append(one)
        else:
            groups.append([one])
    offsets: Sequence[Offset | None] = [best_offset(group) for group in groups]
    return [one for one in offsets if one is not None]


def _belongs(one: Exchange, group: Sequence[Exchange]) -> bool:
    soon = one.sent_ms - group[-1].sent_ms <= BURST_GAP_MS
    return soon and one.sent_ms - group[0].sent_ms <= BURST_MS
