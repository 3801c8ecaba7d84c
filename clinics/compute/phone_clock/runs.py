"""From what phones logged to instants on the server's clock, each with what it is worth.

Each piece of a run (`pieces.py`) has its clock, in this order of preference:

- `measured`: from its own exchanges;
- `tied`: through another phone that scanned its code, or whose code it scanned;
- `bridged`: by the wall clock, from other pieces of the same phone (or tied to a phone that is
  itself bridged);
- `unknown`: nothing tells. The instant is the wall clock's as told, without an uncertainty.

All times are in ms. Server and wall times count from 1970, monotonic ones from the run's begin.
Order and doubling of exchanges, entries, scans and phones change nothing; if all server times
are later by a constant, so are all instants but the unknown ones.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from clinics.compute.phone_clock.bridge import Anchor, anchors_of, bridged
from clinics.compute.phone_clock.exchange import Offset, bursts
from clinics.compute.phone_clock.line import Line, fit_line
from clinics.compute.phone_clock.pieces import EntryIn, PhoneIn, Piece, Run, runs_of
from clinics.compute.phone_clock.steps import Step
from clinics.compute.phone_clock.twins import NoTie, Tie

MEASURED, TIED, BRIDGED, UNKNOWN = "measured", "tied", "bridged", "unknown"
_Name = tuple[str, str, int]
_Placed = dict[_Name, tuple[Line, str]]


@dataclass(frozen=True)
class PlacedEntry:
    """`instant_ms`: server time. `u_ms`: its standard uncertainty (k = 2 covers), None: unknown.

    It is that of the clock alone; how late and how unevenly people tap comes on top.
    `doubtful`: a step of its clocks could not be decided, or may have been before it or after
    it; half of that is in `u_ms`.
    """

    client_id: str
    run: str
    part: int
    instant_ms: float
    u_ms: float | None
    state: str
    doubtful: bool
    wall_ms: float


@dataclass(frozen=True)
class PlacedPiece:
    """A piece and its clock; `line` is None where it is unknown."""

    piece: Piece
    line: Line | None
    state: str


@dataclass(frozen=True)
class PhoneClock:
    """All that is known of one phone. `steps` by run; `entries` in order of their instants."""

    phone: str
    pieces: tuple[PlacedPiece, ...]
    entries: tuple[PlacedEntry, ...]
    steps: Mapping[str, tuple[Step, ...]]


def fit_phones(
    phones: Iterable[PhoneIn], ties: Iterable[Tie | NoTie] = ()
) -> dict[str, PhoneClock]:
    """The clocks of all phones of a clinic, by their keys; each key stands for one phone.

    `ties` as `twins.ties_of` gives them; those with runs that nobody sent, or that two phones
    call their own, are passed over. Raises ValueError for an entry whose clocks are no numbers.
    """
    runs = {phone.key: runs_of(phone) for phone in phones}
    pieces = [piece for its in runs.values() for run in its for piece in run.pieces]
    owned = Counter(run.run for its in runs.values() for run in its)
    by_run = {run.run: run for its in runs.values() for run in its if owned[run.run] == 1}
    known = {tie for tie in ties if isinstance(tie, Tie)}
    ends = [
        end
        for tie in sorted(known)
        if tie.run in by_run and tie.other_run in by_run
        for end in _ends(tie, by_run)
    ]
    placed = _place(pieces, ends)
    return {key: _clock(key, its, placed) for key, its in sorted(runs.items())}


@dataclass(frozen=True)
class _End:
    """One side of a tie, and where the other side is."""

    piece: _Name
    at_ms: float
    other: _Name
    other_ms: float
    u_ms: float


def _ends(tie: Tie, by_run: Mapping[str, Run]) -> tuple[_End, _End]:
    one = _name(by_run[tie.run].part_at(tie.at_ms))
    other = _name(by_run[tie.other_run].part_at(tie.other_ms))
    return (
        _End(one, tie.at_ms, other, tie.other_ms, tie.u_ms),
        _End(other, tie.other_ms, one, tie.at_ms, tie.u_ms),
    )


def _name(piece: Piece) -> _Name:
    return piece.phone, piece.run, piece.part


def _place(pieces: Sequence[Piece], ends: Sequence[_End]) -> _Placed:
    """Rounds: what has exchanges; what is tied to that, and to that; only then wall clocks."""
    placed: _Placed = {}
    for piece in pieces:
        if offsets := bursts(piece.exchanges):
            placed[_name(piece)] = fit_line(offsets), MEASURED
    while True:
        missing = [piece for piece in pieces if _name(piece) not in placed]
        found = _tied(missing, ends, placed) or _bridged(missing, pieces, placed)
        if not found:
            return placed
        placed |= found


def _tied(missing: Iterable[Piece], ends: Sequence[_End], placed: _Placed) -> _Placed:
    found: _Placed = {}
    for piece in missing:
        its = [end for end in ends if end.piece == _name(piece) and end.other in placed]
        if its:
            through = {placed[end.other][1] for end in its}
            state = BRIDGED if BRIDGED in through else TIED
            found[_name(piece)] = fit_line([_through(end, placed) for end in its]), state
    return found


def _through(end: _End, placed: _Placed) -> Offset:
    line, _state = placed[end.other]
    u_ms = math.hypot(line.u_ms(end.other_ms), end.u_ms)
    offset_ms = line.server_ms(end.other_ms) - end.at_ms
    return Offset(end.at_ms, offset_ms, u_ms, -math.inf, math.inf, exchanges=0)


def _bridged(missing: Iterable[Piece], pieces: Sequence[Piece], placed: _Placed) -> _Placed:
    found: _Placed = {}
    anchors: dict[str, list[Anchor]] = {}
    for piece in missing:
        if piece.phone not in anchors:
            its = [one for one in pieces if one.phone == piece.phone and _name(one) in placed]
            anchors[piece.phone] = anchors_of((one, placed[_name(one)][0]) for one in its)
        offset = bridged(piece, anchors[piece.phone])
        if offset is not None:
            found[_name(piece)] = fit_line([offset]), BRIDGED
    return found


def _clock(phone: str, runs: Sequence[Run], placed: _Placed) -> PhoneClock:
    pieces, entries = [], []
    for run in runs:
        for piece, its in zip(run.pieces, run.entries, strict=True):
            line, state = placed.get(_name(piece), (None, UNKNOWN))
            pieces.append(PlacedPiece(piece, line, state))
            entries += [_entry(one, run, pieces[-1]) for one in its]
    return PhoneClock(
        phone=phone,
        pieces=tuple(pieces),
        entries=tuple(sorted(entries, key=lambda one: (one.instant_ms, one.client_id))),
        steps={run.run: run.steps for run in runs if run.steps},
    )


def _entry(entry: EntryIn, run: Run, placed: PlacedPiece) -> PlacedEntry:
    line, at_ms = placed.line, entry.monotonic_ms
    unsure_ms = run.unsure_ms(at_ms)
    undecided = placed.state in (BRIDGED, UNKNOWN) and placed.piece.doubt_ms > 0
    return PlacedEntry(
        client_id=entry.client_id,
        run=entry.run,
        part=placed.piece.part,
        instant_ms=line.server_ms(at_ms) if line else entry.wall_ms,
        u_ms=math.hypot(line.u_ms(at_ms), unsure_ms / 2) if line else None,
        state=placed.state,
        doubtful=undecided or unsure_ms > 0,
        wall_ms=entry.wall_ms,
    )
