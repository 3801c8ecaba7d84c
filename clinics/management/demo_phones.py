"""Two phones at the demo's pool hour: the logger's, which has the network now and then, and a
helper's at the far end, which has none and was scanned by the first.

What they send is made up; it comes in through the same door as a real phone's.
"""

from __future__ import annotations

import datetime as dt
import json
import uuid
from typing import TYPE_CHECKING, Any

from clinics.actions.log_sync import take_in_sync
from clinics.compute.phone_sync import read_body
from clinics.compute.time import to_epoch_ms
from clinics.models import Clinic

if TYPE_CHECKING:
    from portal.models import User

APART_S = 85.0
LOGGERS, HELPERS = "Start side, logger", "Far end"
THERE_MS, BACK_MS, ANSWERING_MS = 14.0, 11.0, 1.0
READING_MS = 180.0  # from drawing a code to having read it
PASSED_OVER, NOT_THERE, DISPUTED = 2, 5, 7  # places in the running order


class _Phone:
    """`ahead_s`: its wall clock against the server's. Its other clock began 20 minutes before."""

    def __init__(self, clinic: Clinic, name: str, begins_at: dt.datetime, ahead_s: float) -> None:
        self.name, self.clinic, self.ahead_ms = name, clinic, 1000 * ahead_s
        self.begins_ms = to_epoch_ms(begins_at)
        self.run = f"run-{self.id('run')}"
        self.told: dict[str, list[Any]] = {"exchanges": [], "scans": [], "lines": []}
        self.told |= {"station_words": []}

    def id(self, what: str) -> str:
        """The same whenever the demo is made again, so that nothing is doubled."""
        return str(uuid.uuid5(self.clinic.pk, f"{self.name} {what}"))

    def monotonic_ms(self, at_s: float) -> float:
        return 1000 * (at_s + 1200)

    def wall_ms(self, at_s: float) -> float:
        return self.begins_ms + 1000 * at_s + self.ahead_ms

    def exchange(self, at_s: float) -> None:
        for number in range(4):
            sent_ms = self.monotonic_ms(at_s + number / 2)
            server_ms = self.begins_ms + 1000 * (at_s + number / 2) + THERE_MS + number
            self.told["exchanges"].append(
                {
                    "run": self.run,
                    "sent_ms": sent_ms,
                    "server_ms": server_ms,
                    "answered_ms": server_ms + ANSWERING_MS,
                    "came_ms": sent_ms + THERE_MS + number + ANSWERING_MS + BACK_MS,
                    "wall_ms": self.wall_ms(at_s + number / 2),
                }
            )

    def scan(self, at_s: float, other: _Phone) -> None:
        for reader, shown in ((self, other), (other, self)):
            scan = {"shown_run": shown.run, "shown_ms": shown.monotonic_ms(at_s)}
            scan |= {"read_run": reader.run, "read_ms": reader.monotonic_ms(at_s) + READING_MS}
            reader.told["scans"].append(scan)

    def tap(self, at_s: float, number: int, outcome: str = "away", note: str = "") -> None:
        self.told["lines"].append(
            {
                "client_id": self.id(f"{number} {outcome}"),
                "number": number,
                "outcome": outcome,
                "note": note,
                "run": self.run,
                "monotonic_ms": self.monotonic_ms(at_s),
                "wall_ms": self.wall_ms(at_s),
                "consent_shown": True,
                "consent_known_ms": self.wall_ms(-60),
            }
        )

    def send(self, by: User) -> None:
        phone = {"key": self.id("phone"), "name": self.name, "unsent": 0}
        body = read_body(json.dumps({"phone": phone, **self.told}))
        take_in_sync(clinic=self.clinic, body=body, by=by)


def phones_in_demo(
    clinic: Clinic, *, logger: User, helper: User, begins_at: dt.datetime, count: int = 12
) -> None:
    """The first `count` of the running order, logged from `begins_at` on; both work at the clinic.

    One is passed over and goes later, one does not come, one is away by one phone and did not come
    by the other: that is left for whoever looks at the log. Repeated, it changes nothing.
    """
    logging = _Phone(clinic, LOGGERS, begins_at, -41.0)
    helping = _Phone(clinic, HELPERS, begins_at, 3.0)
    logging.exchange(-60)
    logging.scan(-40, helping)
    entries = list(clinic.entries.order_by("order", "number")[:count])
    for place, entry in enumerate(entries):
        at_s = APART_S * place
        if place == NOT_THERE:
            logging.tap(at_s, entry.number, "no-show")
            continue
        if place == PASSED_OVER:
            logging.tap(at_s, entry.number, "skipped", "goggles")
            at_s = APART_S * len(entries)
        logging.tap(at_s, entry.number)
        if place % 3 == 1:
            helping.tap(at_s + 0.4, entry.number, "no-show" if place == DISPUTED else "away")
    logging.exchange(APART_S * (len(entries) + 1))
    for place, station in enumerate(clinic.stations.order_by("order", "slug")):
        word: dict[str, Any] = {
            "station": str(station.pk),
            "state": "battery" if place == 1 else "rolling",
        }
        word |= {"client_id": helping.id(station.slug), "wall_ms": helping.wall_ms(-30 + place)}
        helping.told["station_words"].append(word)
    logging.send(logger)
    helping.send(helper)
