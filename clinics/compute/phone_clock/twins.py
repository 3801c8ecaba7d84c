"""Two phones without network tell each other's clock by scanning each other's code.

A phone shows a code with its run and what its monotonic clock says as it is drawn; the other one
notes what its own clock says when its camera has read it. Reading is always later than drawing,
by as much as the display, the camera and the decoder take:

    A reads B's code:  A - B <= A's time of reading - the time in B's code
    B reads A's code:  A - B >= the time in A's code - B's time of reading

Both ways together are an exchange without a server, with the same bounds and the same way to an
uncertainty (`exchange.py`). Of one way alone it has to be assumed how long it may have taken.

The text of a code is `sidelane-clock:1:RUN:MS`: the version of this format, the run's id (up to
60 letters, digits, dots, hyphens and underscores), milliseconds with one decimal.
"""

from __future__ import annotations

import math
import re
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from clinics.compute.errors import BadInput
from clinics.compute.errors import say as _
from clinics.compute.phone_clock.exchange import (
    MOST_SHARE,
    RATE_LIMIT,
    RESOLUTION_MS,
    RESOLUTION_U_MS,
    middle_and_u_ms,
)

MARK, VERSION = "sidelane-clock", "1"
RUN = re.compile(r"[A-Za-z0-9._-]{1,60}")
MS = re.compile(r"[0-9]{1,11}(\.[0-9]{1,3})?")
LATENCY_MOST_MS = 1000.0
"""Drawing, light, camera and decoder of a code that is drawn anew some times a second: as a rule
0.1 to 0.5 s (common practice, no source)."""
TOGETHER_MS = 120_000.0
"""Scans that follow each other within this are one tie."""
OWN, DISAGREE = "own", "disagree"


@dataclass(frozen=True, order=True)
class Scan:
    """Run `read_run` read, at `read_ms` of its own clock, the code of `shown_run` which said
    `shown_ms`."""

    shown_run: str
    shown_ms: float
    read_run: str
    read_ms: float


@dataclass(frozen=True, order=True)
class Tie:
    """When the clock of `run` showed `at_ms`, that of `other_run` showed `other_ms`.

    `u_ms`: standard uncertainty of that. `both_ways`: each has read the other's code.
    """

    run: str
    at_ms: float
    other_run: str
    other_ms: float
    u_ms: float
    both_ways: bool
    scans: int


@dataclass(frozen=True, order=True)
class NoTie:
    """Scans of two runs that give none. `why`: own (a phone that read its own code) or disagree
    (a code was read before it was drawn: one of the clocks stopped in between)."""

    run: str
    other_run: str
    why: str


def format_code(run: str, monotonic_ms: float) -> str:
    """The text of the code that a phone shows.

    >>> format_code("8f14-e45f", 73512.26)
    'sidelane-clock:1:8f14-e45f:73512.3'
    """
    text = f"{monotonic_ms:.1f}"
    if not RUN.fullmatch(run) or not MS.fullmatch(text):
        raise ValueError("a clock's code needs a run's id and a time from 0 to 10^11 ms")
    return f"{MARK}:{VERSION}:{run}:{text}"


def parse_code(text: str) -> tuple[str, float]:
    """Run and monotonic ms of a code, or BadInput that says what it is instead.

    >>> parse_code("sidelane-clock:1:8f14-e45f:73512.3")
    ('8f14-e45f', 73512.3)
    """
    mark, _colon, rest = text.strip().partition(":")
    version, _colon, rest = rest.partition(":")
    run, _colon, ms = rest.partition(":")
    if mark != MARK:
        told = _(
            "This is not the code of a phone's clock. Scan the code that the start log shows on "
            "the other phone."
        )
    elif version != VERSION:
        told = _(
            "The other phone's start log is of another version. Load the page anew on both "
            "phones where there is network, then scan again."
        )
    elif not RUN.fullmatch(run) or not MS.fullmatch(ms):
        told = _("This code of a clock is not whole. Hold both phones still and scan again.")
    else:
        return run, float(ms)
    raise BadInput([("", told)])


def ties_of(scans: Iterable[Scan]) -> list[Tie | NoTie]:
    """One tie, or why there is none, for each time that two runs scanned each other.

    Order and doubling of scans change nothing. `run` of a tie is the one that sorts first.
    """
    pairs: dict[tuple[str, str], set[Scan]] = defaultdict(set)
    for scan in scans:
        if math.isfinite(scan.shown_ms) and math.isfinite(scan.read_ms):
            one, other = sorted((scan.shown_run, scan.read_run))
            pairs[one, other].add(scan)
    return [
        _tie(one, other, group)
        for (one, other), its in sorted(pairs.items())
        for group in _groups(one, its)
    ]


def _ms_of(run: str, scan: Scan) -> float:
    return scan.shown_ms if scan.shown_run == run else scan.read_ms


def _groups(run: str, scans: Iterable[Scan]) -> list[list[Scan]]:
    groups: list[list[Scan]] = []
    for scan in sorted(scans, key=lambda one: (_ms_of(run, one), one)):
        if groups and _ms_of(run, scan) - _ms_of(run, groups[-1][-1]) <= TOGETHER_MS:
            groups[-1].append(scan)
        else:
            groups.append([scan])
    return groups


def _tie(run: str, other_run: str, scans: Sequence[Scan]) -> Tie | NoTie:
    if run == other_run:
        return NoTie(run, other_run, OWN)
    at_ms = _ms_of(run, scans[len(scans) // 2])
    up_ms, down_ms = (
        np.array(
            [
                one.read_ms - one.shown_ms + 2 * RATE_LIMIT * abs(_ms_of(run, one) - at_ms)
                for one in scans
                if one.read_run == reader
            ]
        )
        for reader in (run, other_run)
    )
    if len(up_ms) and len(down_ms):
        if up_ms.min() + down_ms.min() < -2 * RESOLUTION_MS:
            return NoTie(run, other_run, DISAGREE)
        middle_ms, u = middle_and_u_ms(up_ms, down_ms)
        ahead_ms, u_ms = float(middle_ms), float(u)
    else:
        sign, least_ms = (1, up_ms.min()) if len(up_ms) else (-1, down_ms.min())
        ahead_ms = sign * (float(least_ms) - LATENCY_MOST_MS / 2)
        u_ms = math.hypot(MOST_SHARE * LATENCY_MOST_MS / 4, RESOLUTION_U_MS)
    return Tie(
        run=run,
        at_ms=at_ms,
        other_run=other_run,
        other_ms=at_ms - ahead_ms,
        u_ms=u_ms,
        both_ways=bool(len(up_ms) and len(down_ms)),
        scans=len(scans),
    )
