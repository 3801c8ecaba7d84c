"""Puts what a phone logged at the pool onto the server's clock, with what it is worth.

    clocks = fit_phones(phones, ties_of(scans))
    clocks["phone"].entries[0].instant_ms, .u_ms, .state
    summary(clocks, now_ms=...)

`exchange.py`: the offset of time stamps to and fro. `steps.py`: where wall and monotonic clock
part. `pieces.py`: runs cut there. `line.py`: the fit of a piece. `bridge.py`: by the wall clock.
`twins.py`: two phones that scan each other's code. `runs.py`: all of it together.
"""

from __future__ import annotations

from clinics.compute.phone_clock.exchange import Exchange, Offset, best_offset, bursts
from clinics.compute.phone_clock.line import Line, fit_line
from clinics.compute.phone_clock.pieces import EntryIn, PhoneIn
from clinics.compute.phone_clock.runs import (
    BRIDGED,
    MEASURED,
    TIED,
    UNKNOWN,
    PhoneClock,
    PlacedEntry,
    fit_phones,
)
from clinics.compute.phone_clock.steps import (
    MONOTONIC,
    SERVER,
    UNDECIDED,
    WALL,
    Reading,
    Step,
    steps_of_run,
)
from clinics.compute.phone_clock.summary import PhoneLine, summary
from clinics.compute.phone_clock.twins import (
    NoTie,
    Scan,
    Tie,
    format_code,
    parse_code,
    ties_of,
)

__all__ = [
    "BRIDGED",
    "MEASURED",
    "MONOTONIC",
    "SERVER",
    "TIED",
    "UNDECIDED",
    "UNKNOWN",
    "WALL",
    "EntryIn",
    "Exchange",
    "Line",
    "NoTie",
    "Offset",
    "PhoneClock",
    "PhoneIn",
    "PhoneLine",
    "PlacedEntry",
    "Reading",
    "Scan",
    "Step",
    "Tie",
    "best_offset",
    "bursts",
    "fit_line",
    "fit_phones",
    "format_code",
    "parse_code",
    "steps_of_run",
    "summary",
    "ties_of",
]
