"""The kinds of things that a phone sends. `*_ms` named wall or said: its wall clock, ms since
1970; `monotonic_ms`: from the begin of the run of its other clock."""

from __future__ import annotations

import uuid
from dataclasses import dataclass

LINE, UNDONE, WISH, STATION_WORD = "line", "undone", "wish", "station-word"
"""The lists that items stand in, as an answer names them."""


@dataclass(frozen=True)
class PhoneSaid:
    """`key` is made by the browser and kept; `unsent`: how many items stay on it after this."""

    key: str
    name: str
    unsent: int


@dataclass(frozen=True)
class LineSaid:
    """A line of the start log. `number` None: nobody could say who it was. `noted_ms`: when the
    note was written, so that the newest one holds; as the line itself, if that was not said."""

    client_id: str
    number: int | None
    outcome: str
    note: str
    noted_ms: float
    run: str
    monotonic_ms: float
    wall_ms: float
    consent_shown: bool | None
    consent_known_ms: float | None


@dataclass(frozen=True)
class WishSaid:
    """Somebody comes late, `from_ms` on, or wishes a second go; `gone`: no longer. Of one
    swimmer's words on one kind the newest holds, by `wall_ms`; None: the phone did not say."""

    client_id: str
    number: int
    kind: str
    from_ms: float | None
    gone: bool
    wall_ms: float | None


@dataclass(frozen=True)
class StationWordSaid:
    client_id: str
    station: uuid.UUID
    state: str
    wall_ms: float


@dataclass(frozen=True)
class Refused:
    """An item that cannot be taken, ever; `kind` names the list it stood in."""

    kind: str
    client_id: str
    errors: tuple[str, ...]
