"""One line for each phone on a day's board: how its clock is doing."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from clinics.compute.phone_clock.exchange import Exchange
from clinics.compute.phone_clock.runs import UNKNOWN, PhoneClock, PlacedPiece


@dataclass(frozen=True)
class PhoneLine:
    """`ahead_ms`: how far the phone's wall clock is ahead of the server's, negative: behind, as
    last read. `u_ms`: standard uncertainty that an entry would have now. Both are None while the
    clock is unknown.

    `heard_ms`: server time of the last exchange, None if there was none in any run; `run` and
    `state` of the newest piece, "" and unknown for a phone that sent nothing. `steps`: how many
    there were, `doubtful`: entries that they leave in doubt.
    """

    phone: str
    run: str
    state: str
    ahead_ms: float | None
    u_ms: float | None
    heard_ms: float | None
    entries: int
    steps: int
    doubtful: int


def summary(clocks: Mapping[str, PhoneClock], *, now_ms: float) -> list[PhoneLine]:
    """A line for each phone, in order of their keys. `now_ms`: server time."""
    return [_line(clock, now_ms) for _key, clock in sorted(clocks.items())]


def _line(clock: PhoneClock, now_ms: float) -> PhoneLine:
    newest = max(clock.pieces, key=_newest, default=None)
    line = newest.line if newest else None
    exchanges = (one for placed in clock.pieces for one in placed.piece.exchanges)
    return PhoneLine(
        phone=clock.phone,
        run=newest.piece.run if newest else "",
        state=newest.state if newest else UNKNOWN,
        ahead_ms=_ahead_ms(newest) if newest else None,
        u_ms=line.u_ms(line.monotonic_ms(now_ms)) if line else None,
        heard_ms=_heard_ms(exchanges),
        entries=len(clock.entries),
        steps=sum(len(steps) for steps in clock.steps.values()),
        doubtful=sum(entry.doubtful for entry in clock.entries),
    )


def _newest(placed: PlacedPiece) -> tuple[float, str, int]:
    """By its last reading, on the server's clock where that is known, else on the wall clock."""
    piece, line = placed.piece, placed.line
    if not piece.readings:
        return float("-inf"), piece.run, piece.part
    last = piece.readings[-1]
    at_ms = line.server_ms(last.monotonic_ms) if line else last.wall_ms
    return at_ms, piece.run, piece.part


def _ahead_ms(placed: PlacedPiece) -> float | None:
    piece, line = placed.piece, placed.line
    if line is None or not piece.readings:
        return None
    last = piece.readings[-1]
    return last.wall_ms - line.server_ms(last.monotonic_ms)


def _heard_ms(exchanges: Iterable[Exchange]) -> float | None:
    return max((one.answered_ms for one in exchanges), default=None)
