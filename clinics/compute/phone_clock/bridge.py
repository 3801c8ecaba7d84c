"""The place of a piece that no exchange reached, told by the phone's wall clock.

`Date.now()` goes on over a restart and while the phone sleeps. How far it is off the server is
known where the same phone's clock is known otherwise; what it may have been set by in between
is not. With such places before and after, what they differ by is the most that is missed; with
one side only, `SET_U_MS` is assumed.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from clinics.compute.phone_clock.exchange import RESOLUTION_U_MS, Offset
from clinics.compute.phone_clock.line import RATE_U, Line
from clinics.compute.phone_clock.pieces import Piece
from clinics.compute.phone_clock.steps import Reading

SET_U_MS = 200.0
"""What a wall clock may be set by unseen, as a standard uncertainty (judgement, no source)."""


@dataclass(frozen=True, order=True)
class Anchor:
    """When the wall clock showed `wall_ms`, the server's was ahead of it by `ahead_ms`."""

    wall_ms: float
    ahead_ms: float
    u_ms: float


def anchors_of(placed: Iterable[tuple[Piece, Line]]) -> list[Anchor]:
    """At each reading of pieces that are placed, in order of the wall clock."""
    return sorted(
        Anchor(
            reading.wall_ms,
            line.server_ms(reading.monotonic_ms) - reading.wall_ms,
            line.u_ms(reading.monotonic_ms),
        )
        for piece, line in placed
        for reading in piece.readings
    )


def bridged(piece: Piece, anchors: Sequence[Anchor]) -> Offset | None:
    """The offset of a piece's monotonic clock by its wall clock; None: nothing to go by.

    Nothing is certain of it: `low_ms` and `high_ms` are infinite. The steps of the run that could
    not be decided are in `u_ms`.
    """
    if not anchors or not piece.readings:
        return None
    first, last = piece.readings[0], piece.readings[-1]
    before = max((one for one in anchors if one.wall_ms <= first.wall_ms), default=None)
    after = min((one for one in anchors if one.wall_ms >= last.wall_ms), default=None)
    if before is not None and after is not None:
        return _from_both(piece, before, after)
    if after is not None:
        return _from_one(piece, last, after)
    return _from_one(piece, first, before or _nearest(anchors, first))


def _nearest(anchors: Sequence[Anchor], reading: Reading) -> Anchor:
    """For a phone whose wall clock was set so that it showed the same time twice."""
    return min(anchors, key=lambda one: (abs(one.wall_ms - reading.wall_ms), one))


def _from_one(piece: Piece, reading: Reading, anchor: Anchor) -> Offset:
    drift_ms = RATE_U * abs(reading.wall_ms - anchor.wall_ms)
    u_ms = math.hypot(anchor.u_ms, SET_U_MS, drift_ms)
    return _offset(piece, reading.monotonic_ms, _by(reading, anchor), u_ms)


def _from_both(piece: Piece, before: Anchor, after: Anchor) -> Offset:
    first, last = piece.readings[0], piece.readings[-1]
    gap_ms, gap_after_ms = first.wall_ms - before.wall_ms, after.wall_ms - last.wall_ms
    share = gap_ms / (gap_ms + gap_after_ms) if gap_ms + gap_after_ms > 0 else 0.5
    early_ms, late_ms = _by(first, before), _by(last, after)
    u_ms = math.hypot(max(before.u_ms, after.u_ms), (late_ms - early_ms) / 2)
    at_ms = (first.monotonic_ms + last.monotonic_ms) / 2
    return _offset(piece, at_ms, early_ms + share * (late_ms - early_ms), u_ms)


def _by(reading: Reading, anchor: Anchor) -> float:
    """Server minus monotonic clock at a reading, if the wall clock was not set since."""
    return reading.wall_ms - reading.monotonic_ms + anchor.ahead_ms


def _offset(piece: Piece, at_ms: float, offset_ms: float, u_ms: float) -> Offset:
    whole_u_ms = math.hypot(u_ms, piece.doubt_ms, RESOLUTION_U_MS)
    return Offset(at_ms, offset_ms, whole_u_ms, -math.inf, math.inf, exchanges=0)
