"""Where the lines that phones logged stand on the server's clock.

They are placed anew whenever a phone tells more of its clock, since a later exchange of time
stamps, or another phone's scan, improves what came before; the computing is
clinics/compute/phone_clock. What the phone itself stored (`monotonic_ms`, `wall_ms`) is never
changed.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass, field

from clinics.actions.settle_swims import Was
from clinics.compute.phone_clock import (
    EntryIn,
    Exchange,
    PhoneClock,
    PhoneIn,
    PlacedEntry,
    Scan,
    fit_phones,
    ties_of,
)
from clinics.compute.time import from_epoch_ms
from clinics.models import Clinic, ClockExchange, ClockScan, Phone, StartLogEntry

EXCHANGES_MOST = 20_000
"""Of one phone at one clinic: one every two seconds over a long day. More are passed over."""
SCANS_MOST = 2_000
ANOTHER_DAY = dt.timedelta(days=1)
PLACED = ("instant", "clock_state", "clock_u_ms", "clock_doubtful")


def store_exchanges(phone: Phone, told: Iterable[tuple[str, Exchange]]) -> None:
    """Those that are here already change nothing."""
    rows = [
        ClockExchange(
            phone=phone,
            run=run,
            sent_ms=one.sent_ms,
            server_ms=one.server_ms,
            answered_ms=one.answered_ms,
            came_ms=one.came_ms,
            wall_ms=one.wall_ms,
        )
        for run, one in told
    ]
    if rows and phone.exchanges.count() < EXCHANGES_MOST:
        ClockExchange.objects.bulk_create(rows, ignore_conflicts=True)


def store_scans(phone: Phone, told: Iterable[Scan]) -> None:
    rows = [
        ClockScan(
            phone=phone,
            shown_run=one.shown_run,
            shown_ms=one.shown_ms,
            read_run=one.read_run,
            read_ms=one.read_ms,
        )
        for one in told
    ]
    if rows and phone.scans.count() < SCANS_MOST:
        ClockScan.objects.bulk_create(rows, ignore_conflicts=True)


@dataclass
class Refitted:
    """`was`: what the lines that were placed anew said before, by line. `clock`: of the phone."""

    clock: PhoneClock | None
    was: dict[uuid.UUID, Was] = field(default_factory=dict)
    entries: set[uuid.UUID] = field(default_factory=set)
    moved_ms: float = 0.0


def refit(*, clinic: Clinic, phone: Phone) -> Refitted:
    """Place all lines that this phone's clock bears on: its own, and once any phone has scanned
    another one, those of all phones. Five queries, six if a line moves."""
    scans = list(ClockScan.objects.filter(phone__clinic=clinic))
    phones = Phone.objects.filter(clinic=clinic)
    keys = {one.pk for one in (phones if scans else [phone])}
    lines = list(_lines(keys))
    clocks = fit_phones(_phones_in(keys, lines), ties_of(_scan(row) for row in scans))
    placed = {
        (key, entry.client_id): entry for key, clock in clocks.items() for entry in clock.entries
    }
    done = Refitted(clocks.get(str(phone.pk)))
    moved = [
        line
        for line in lines
        if _place(line, placed[str(line.phone_id), line.client_id], clinic, done)
    ]
    StartLogEntry.objects.bulk_update(moved, PLACED)
    return done


def clocks_of(clinic: Clinic) -> dict[str, PhoneClock]:
    """Of all phones of a clinic, by the key of their rows as text; for pages. Four queries."""
    keys = set(Phone.objects.filter(clinic=clinic).values_list("pk", flat=True))
    scans = ClockScan.objects.filter(phone__clinic=clinic)
    ties = ties_of(_scan(row) for row in scans)
    return fit_phones(_phones_in(keys, list(_lines(keys))), ties)


def _lines(phones: Collection[uuid.UUID]) -> Iterable[StartLogEntry]:
    lines = StartLogEntry.objects.filter(phone__in=phones)
    return lines.filter(monotonic_ms__isnull=False, wall_ms__isnull=False)


def _phones_in(phones: Collection[uuid.UUID], lines: Iterable[StartLogEntry]) -> list[PhoneIn]:
    exchanges: dict[uuid.UUID, dict[str, list[Exchange]]] = {pk: defaultdict(list) for pk in phones}
    columns = ("phone_id", "run", "sent_ms", "server_ms", "answered_ms", "came_ms", "wall_ms")
    for pk, run, *told in ClockExchange.objects.filter(phone__in=phones).values_list(*columns):
        exchanges[pk][run].append(Exchange(*told))
    entries: dict[uuid.UUID, list[EntryIn]] = {pk: [] for pk in phones}
    for line in lines:
        assert line.phone_id and line.monotonic_ms is not None and line.wall_ms is not None
        entries[line.phone_id].append(
            EntryIn(line.client_id, line.clock_run, line.monotonic_ms, line.wall_ms)
        )
    return [PhoneIn(str(pk), exchanges[pk], entries[pk]) for pk in sorted(phones)]


def _scan(row: ClockScan) -> Scan:
    return Scan(row.shown_run, row.shown_ms, row.read_run, row.read_ms)


def _place(line: StartLogEntry, placed: PlacedEntry, clinic: Clinic, done: Refitted) -> bool:
    """Whether anything of the line changed."""
    instant = from_epoch_ms(placed.instant_ms)
    off_day = abs(instant.astimezone(clinic.zone).date() - clinic.date) > ANOTHER_DAY
    u_ms = None if placed.u_ms is None else round(placed.u_ms, 3)
    values = instant, placed.state, u_ms, placed.doubtful or off_day
    if values == tuple(getattr(line, name) for name in PLACED):
        return False
    done.was[line.pk] = Was.of(line)
    if line.entry_id:
        done.entries.add(line.entry_id)
    if line.outcome not in ("no-show", "skipped") and line.undone_at is None:
        done.moved_ms = max(done.moved_ms, abs((instant - line.instant).total_seconds()) * 1000)
    line.instant, line.clock_state, line.clock_u_ms, line.clock_doubtful = values
    return True
