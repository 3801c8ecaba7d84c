"""What one phone logged, cut into pieces over which its monotonic clock went on unbroken.

A run is one piece, unless its clock stopped (the phone slept), or may have.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from clinics.compute.phone_clock.exchange import Exchange
from clinics.compute.phone_clock.steps import UNDECIDED, Reading, Step, between, steps_of_run

DOUBT_MOST_MS = 1000.0
"""The network corrects a wall clock by up to about this (common practice, no source); a step
forward by more is a phone that slept."""


@dataclass(frozen=True, order=True)
class EntryIn:
    """One line of the start log as the phone stored it. `client_id` is made by the phone and is
    its own; `run` the run of its monotonic clock."""

    client_id: str
    run: str
    monotonic_ms: float
    wall_ms: float


@dataclass(frozen=True)
class PhoneIn:
    """All that one phone sent. `key` names the phone and stays the same over its runs; a run's
    id belongs to one phone only. `exchanges` by the id of the run in which they were made."""

    key: str
    exchanges: Mapping[str, Sequence[Exchange]] = field(default_factory=dict)
    entries: Sequence[EntryIn] = ()


@dataclass(frozen=True)
class Piece:
    """Part number `part` of a run, from 0 on. `readings` of both clocks, in order of time, at its
    entries and exchanges. `doubt_ms`: what the run's undecided steps may make its place wrong by
    if it is bridged, as a standard uncertainty."""

    phone: str
    run: str
    part: int
    exchanges: tuple[Exchange, ...]
    readings: tuple[Reading, ...]
    doubt_ms: float


@dataclass(frozen=True)
class Run:
    """A run with its steps, its pieces, and the entries of each piece."""

    run: str
    steps: tuple[Step, ...]
    pieces: tuple[Piece, ...]
    entries: tuple[tuple[EntryIn, ...], ...]

    def part_at(self, monotonic_ms: float) -> Piece:
        """The piece to which a time of this run belongs."""
        return self.pieces[sum(place <= monotonic_ms for place in _places(self.steps))]

    def unsure_ms(self, monotonic_ms: float) -> float:
        """Size of the steps of which it cannot be told whether they were before this time or
        after it; 0 as a rule."""
        unsure = (s for s in self.steps if s.parts and s.after_ms < monotonic_ms < s.before_ms)
        return sum(abs(step.size_ms) for step in unsure)


def runs_of(phone: PhoneIn) -> list[Run]:
    """A phone's runs in order of their ids. Entries with the same client id count once.

    Raises ValueError for an entry whose clocks are no numbers.
    """
    entries = _once(phone.entries)
    names = sorted({*phone.exchanges, *(entry.run for entry in entries)})
    return [
        _run(
            phone.key,
            name,
            sorted({one for one in phone.exchanges.get(name, ()) if one.is_possible}),
            [entry for entry in entries if entry.run == name],
        )
        for name in names
    ]


def _once(entries: Iterable[EntryIn]) -> list[EntryIn]:
    by_id: dict[str, EntryIn] = {}
    for entry in sorted(entries):
        if not (math.isfinite(entry.monotonic_ms) and math.isfinite(entry.wall_ms)):
            raise ValueError(f"entry {entry.client_id} has no time")
        by_id.setdefault(entry.client_id, entry)
    return sorted(by_id.values(), key=lambda one: (one.monotonic_ms, one.wall_ms, one.client_id))


def _run(phone: str, name: str, exchanges: Sequence[Exchange], entries: Sequence[EntryIn]) -> Run:
    steps = tuple(steps_of_run(exchanges, (_reading(entry) for entry in entries)))
    places = _places(steps)
    parts = between(exchanges, places)
    lines: list[list[EntryIn]] = [[] for _ in parts]
    for entry in entries:
        lines[sum(place <= entry.monotonic_ms for place in places)].append(entry)
    doubt_ms = math.hypot(
        *(min(step.size_ms, DOUBT_MOST_MS) / 2 for step in steps if step.fault == UNDECIDED)
    )
    pieces = tuple(
        Piece(phone, name, part, tuple(its), _readings(its, lines[part]), doubt_ms)
        for part, its in enumerate(parts)
    )
    return Run(name, steps, pieces, tuple(tuple(line) for line in lines))


def _readings(exchanges: Iterable[Exchange], entries: Iterable[EntryIn]) -> tuple[Reading, ...]:
    at_exchanges = {Reading(one.sent_ms, one.wall_ms) for one in exchanges}
    return tuple(sorted(at_exchanges | {_reading(entry) for entry in entries}))


def _reading(entry: EntryIn) -> Reading:
    return Reading(entry.monotonic_ms, entry.wall_ms)


def _places(steps: Iterable[Step]) -> list[float]:
    return [step.at_ms for step in steps if step.parts]
