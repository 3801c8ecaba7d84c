"""A phone at the pool whose clocks are known: what it would send of what happened when.

Times are the server's, in seconds after ten o'clock of the cast's day.
"""

from __future__ import annotations

import copy
import datetime as dt
import json
import random
import uuid
from dataclasses import dataclass, field
from typing import Any

from clinics.actions.log_sync import Synced, take_in_sync
from clinics.compute.phone_sync import read_body
from clinics.models import Clinic, StartLogEntry, Swim
from portal.models import User
from tests.cast import DAY, make_entry

TEN = dt.datetime.combine(DAY, dt.time(10), dt.UTC)
TEN_MS = TEN.timestamp() * 1000
NAMESPACE = uuid.UUID("2f6f2c9a-6d0c-4a3e-9a49-2f4a7a4b7c11")


def at(seconds: float) -> dt.datetime:
    return TEN + dt.timedelta(seconds=seconds)


@dataclass
class SimPhone:
    """`ahead_s`: of its wall clock; `slow_ppm`: of both clocks. What it says is in `stored`."""

    key: str
    ahead_s: float = 0.0
    slow_ppm: float = 0.0
    began_s: float = -60.0
    name: str = ""
    run: str = ""
    runs: int = 0
    asleep_s: float = 0.0
    made: int = 0
    stored: dict[str, list[Any]] = field(default_factory=dict)
    dice: random.Random = field(default_factory=lambda: random.Random(6))

    def __post_init__(self) -> None:
        self.run = f"{self.key}.run-{self.runs}"
        self.stored = {name: [] for name in LISTS}

    def monotonic_ms(self, at_s: float) -> float:
        lived_s = at_s - self.began_s - self.asleep_s
        return 1000 * lived_s * (1 - self.slow_ppm * 1e-6)

    def wall_ms(self, at_s: float) -> float:
        return TEN_MS + 1000 * (at_s + self.ahead_s)

    def restart(self, at_s: float) -> None:
        self.began_s, self.asleep_s, self.runs = at_s, 0.0, self.runs + 1
        self.run = f"{self.key}.run-{self.runs}"

    def sleep(self, seconds: float) -> None:
        """Its monotonic clock stops for so long, just now."""
        self.asleep_s += seconds

    def client_id(self) -> str:
        self.made += 1
        return str(uuid.uuid5(NAMESPACE, f"{self.key} {self.made}"))

    def tap(self, at_s: float, number: int | None, outcome: str = "away", **more: Any) -> str:
        line = {
            "client_id": self.client_id(),
            "number": number,
            "outcome": outcome,
            "note": "",
            "run": self.run,
            "monotonic_ms": self.monotonic_ms(at_s),
            "wall_ms": self.wall_ms(at_s),
            "consent_shown": True,
            "consent_known_ms": None,
            **more,
        }
        self.stored["lines"].append(line)
        return str(line["client_id"])

    def undo(self, client_id: str) -> None:
        self.stored["undone"].append(client_id)

    def exchange(self, at_s: float, times: int = 8) -> None:
        """Some time stamps to and fro, half a second apart, over a network with waits."""
        for number in range(times):
            sent_s = at_s + number / 2
            there_s, back_s = (0.012 + self.dice.expovariate(1 / 0.01) for _ in range(2))
            self.stored["exchanges"].append(
                {
                    "run": self.run,
                    "sent_ms": self.monotonic_ms(sent_s),
                    "server_ms": TEN_MS + 1000 * (sent_s + there_s),
                    "answered_ms": TEN_MS + 1000 * (sent_s + there_s + 0.001),
                    "came_ms": self.monotonic_ms(sent_s + there_s + 0.001 + back_s),
                    "wall_ms": self.wall_ms(sent_s),
                }
            )

    def scan(self, at_s: float, other: SimPhone, times: int = 6) -> None:
        """Each reads the other's code, a quarter of a second after it was drawn at most."""
        for number in range(times):
            for reader, shown in ((self, other), (other, self)):
                drawn_s = at_s + number
                read_s = drawn_s + 0.06 + 0.19 * self.dice.random()
                reader.stored["scans"].append(
                    {
                        "shown_run": shown.run,
                        "shown_ms": round(shown.monotonic_ms(drawn_s), 1),
                        "read_run": reader.run,
                        "read_ms": reader.monotonic_ms(read_s),
                    }
                )

    def wish(self, at_s: float, number: int, kind: str, **more: Any) -> str:
        wish = {
            "client_id": self.client_id(),
            "number": number,
            "kind": kind,
            "from_ms": None,
            "gone": False,
            "wall_ms": self.wall_ms(at_s),
            **more,
        }
        self.stored["wishes"].append(wish)
        return str(wish["client_id"])

    def body(self, **lists: list[Any]) -> dict[str, Any]:
        """All that is stored, or only some of it."""
        told = copy.deepcopy(lists or self.stored)
        return {"phone": {"key": self.key, "name": self.name, "unsent": 0}, **told}


LISTS = ("exchanges", "scans", "lines", "undone", "wishes", "station_words")


def send(clinic: Clinic, by: User, body: dict[str, Any]) -> Synced:
    return take_in_sync(clinic=clinic, body=read_body(json.dumps(body)), by=by)


def enter(clinic: Clinic, numbers: range) -> None:
    for number in numbers:
        make_entry(clinic, f"Swimmer {number}", number, None, "")


def goes_of(clinic: Clinic, number: int) -> list[Swim]:
    return list(Swim.objects.filter(entry__clinic=clinic, entry__number=number).order_by("go"))


def off_ms(line: StartLogEntry | Swim, at_s: float) -> float:
    """How far a line or a start is from the truth."""
    instant = line.instant if isinstance(line, StartLogEntry) else line.start_at
    return abs((instant - at(at_s)).total_seconds()) * 1000
