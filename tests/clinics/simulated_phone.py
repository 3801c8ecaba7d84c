"""Phones whose clocks are known: rates, sleeps, restarts, and wall clocks that somebody set."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from clinics.compute.phone_clock import (
    EntryIn,
    Exchange,
    PhoneClock,
    PhoneIn,
    Scan,
    fit_phones,
)

BEGIN_MS = 1_794_650_400_000.0
MINUTE_MS = 60_000.0
HOUR_MS = 60 * MINUTE_MS


@dataclass
class Phone:
    """A phone whose clocks are known: true time is ms after `BEGIN_MS` on the server's clock."""

    key: str = "phone"
    rate: float = 0.0
    wall_ahead_ms: float = 0.0
    sets: list[tuple[float, float]] = field(default_factory=list)
    stops: list[tuple[float, float]] = field(default_factory=list)
    server_sets: list[tuple[float, float]] = field(default_factory=list)
    run: str = "run 1"
    began_ms: float = 0.0
    exchanges: dict[str, list[Exchange]] = field(default_factory=dict)
    entries: list[EntryIn] = field(default_factory=list)
    truth_ms: dict[str, float] = field(default_factory=dict)

    def restart(self, at_ms: float) -> None:
        """The page is loaded anew: its monotonic clock begins at zero."""
        self.began_ms, self.run = at_ms, f"{self.key} {len(self.exchanges) + at_ms:.0f}"

    def monotonic_ms(self, at_ms: float) -> float:
        slept_ms = sum(
            min(max(at_ms - begin, 0.0), length)
            for begin, length in self.stops
            if begin >= self.began_ms
        )
        return (at_ms - self.began_ms - slept_ms) / (1 + self.rate)

    def wall_ms(self, at_ms: float) -> float:
        by_ms = sum(size for when, size in self.sets if when <= at_ms)
        return math.floor(BEGIN_MS + at_ms + self.wall_ahead_ms + by_ms)

    def server_ms(self, at_ms: float) -> float:
        return BEGIN_MS + at_ms + sum(size for when, size in self.server_sets if when <= at_ms)

    def exchange(self, at_ms: float, there_ms: float = 12.0, back_ms: float = 12.0) -> None:
        receipt_ms = self.server_ms(at_ms + there_ms)
        one = Exchange(
            sent_ms=self.monotonic_ms(at_ms),
            server_ms=receipt_ms,
            answered_ms=receipt_ms + 1,
            came_ms=self.monotonic_ms(at_ms + there_ms + 1 + back_ms),
            wall_ms=self.wall_ms(at_ms),
        )
        self.exchanges.setdefault(self.run, []).append(one)

    def tap(self, at_ms: float) -> str:
        client_id = f"{self.key} {len(self.entries)}"
        entry = EntryIn(client_id, self.run, self.monotonic_ms(at_ms), self.wall_ms(at_ms))
        self.entries.append(entry)
        self.truth_ms[client_id] = self.server_ms(at_ms)
        return client_id

    def sent(self) -> PhoneIn:
        return PhoneIn(self.key, self.exchanges, self.entries)

    def fitted(self) -> PhoneClock:
        return fit_phones([self.sent()])[self.key]


def errors_of(phone: Phone, clock: PhoneClock) -> dict[str, float]:
    """Instant minus truth of each entry, over twice its uncertainty."""
    return {
        one.client_id: (one.instant_ms - phone.truth_ms[one.client_id]) / (2 * one.u_ms)
        for one in clock.entries
        if one.u_ms is not None
    }


def all_within(phone: Phone, clock: PhoneClock) -> bool:
    return all(abs(error) <= 1 for error in errors_of(phone, clock).values())


def entry_of(clock: PhoneClock, client_id: str):
    return next(one for one in clock.entries if one.client_id == client_id)


def restarted(*, later: bool, moved_ms: float = 0.0) -> tuple[Phone, str, str]:
    """Online, then a run without network; `later`: and then online again. In the run without
    network the wall clock was set by `moved_ms`."""
    phone = Phone(wall_ahead_ms=2500, rate=1e-5, sets=[(100 * MINUTE_MS, moved_ms)])
    phone.exchange(1000)
    first = phone.tap(5 * MINUTE_MS)
    phone.restart(90 * MINUTE_MS)
    offline = phone.tap(120 * MINUTE_MS)
    if later:
        phone.restart(150 * MINUTE_MS)
        phone.exchange(151 * MINUTE_MS)
    return phone, first, offline


def stepped(**clocks) -> Phone:
    phone = Phone(wall_ahead_ms=-900, rate=-2e-5, **clocks)
    phone.exchange(1000)
    for minute in (5, 10, 40, 45):
        phone.tap(minute * MINUTE_MS)
    phone.exchange(60 * MINUTE_MS)
    return phone


def scan(shows: Phone, reads: Phone, at_ms: float, latency_ms: float) -> Scan:
    read_ms = reads.monotonic_ms(at_ms + latency_ms)
    return Scan(shows.run, shows.monotonic_ms(at_ms), reads.run, read_ms)


def two_phones() -> tuple[Phone, Phone, list[Scan]]:
    """One phone heard the server, the other one never did; they scan each other."""
    one = Phone("one", rate=2e-5, run="one's run")
    other = Phone("other", rate=-1e-5, wall_ahead_ms=123_456, run="other's run", began_ms=-9e5)
    one.exchange(1000)
    one.tap(2000)
    other.tap(25 * MINUTE_MS)
    told = [
        scan(one, other, 20 * MINUTE_MS, 180),
        scan(other, one, 20 * MINUTE_MS + 5000, 250),
    ]
    return one, other, told
