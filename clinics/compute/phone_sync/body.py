"""The whole of what a phone sends at once, from its JSON text."""

from __future__ import annotations

import json
import uuid
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeVar

from clinics.compute.errors import BadInput
from clinics.compute.errors import say as _
from clinics.compute.log_file import OUTCOMES
from clinics.compute.phone_clock import Exchange, Scan
from clinics.compute.phone_sync import said
from clinics.compute.phone_sync.fields import (
    CLIENT_ID,
    MONOTONIC_MOST_MS,
    WALL_MOST_MS,
    Item,
    shown,
)

ITEMS_MOST = 2000
NOTE_MOST, NAME_MOST, UNSENT_MOST = 400, 60, 100_000
NAMES_SOMEBODY = ("no-show", "skipped")  # outcomes that say nothing without a swimmer
KINDS = ("late", "second-go")
STATES = ("rolling", "stopped", "battery")
LISTS = ("exchanges", "scans", "lines", "undone", "wishes", "station_words")
T = TypeVar("T")


class TooMuch(BadInput):
    """More at once than is read. The phone sends it in parts."""


@dataclass(frozen=True)
class Body:
    """`exchanges` with the run in which they were made. `passed_over`: exchanges and scans that
    cannot be; nobody waits for them."""

    phone: said.PhoneSaid
    exchanges: tuple[tuple[str, Exchange], ...]
    scans: tuple[Scan, ...]
    lines: tuple[said.LineSaid, ...]
    undone: tuple[str, ...]
    wishes: tuple[said.WishSaid, ...]
    station_words: tuple[said.StationWordSaid, ...]
    refused: tuple[said.Refused, ...]
    passed_over: int


def read_body(text: str | bytes) -> Body:
    """Raises BadInput if it has not the shape of what a phone sends, TooMuch if it is too long."""
    told = _told(text)
    lists = {name: _list(told, name) for name in LISTS}
    refused: list[said.Refused] = []
    exchanges = [_exchange(one) for one in lists["exchanges"]]
    scans = [_scan(one) for one in lists["scans"]]
    possible, read = [e for e in exchanges if e], [s for s in scans if s]
    return Body(
        phone=_phone(told.get("phone")),
        exchanges=tuple(possible),
        scans=tuple(read),
        lines=_items(lists["lines"], said.LINE, _line, refused),
        undone=_items(
            [{"client_id": one} for one in lists["undone"]], said.UNDONE, Item.client_id, refused
        ),
        wishes=_items(lists["wishes"], said.WISH, _wish, refused),
        station_words=_items(lists["station_words"], said.STATION_WORD, _station_word, refused),
        refused=tuple(refused),
        passed_over=len(exchanges) + len(scans) - len(possible) - len(read),
    )


def _no_number(_text: str) -> float:
    raise ValueError("JSON has neither NaN nor infinity (RFC 8259, section 6)")


def _told(text: str | bytes) -> Mapping[str, object]:
    try:
        told = json.loads(text, parse_constant=_no_number)
    except (ValueError, RecursionError):  # of bytes that are no UTF-8 as well
        told = None
    if not isinstance(told, dict):
        sentence = _("This is not what the start log of a phone sends. Load its page anew.")
        raise BadInput([("", sentence)])
    return told


def _list(told: Mapping[str, object], name: str) -> Sequence[object]:
    value = told.get(name, [])
    if not isinstance(value, list):
        raise BadInput([(name, _("must be a list."))])
    if len(value) > ITEMS_MOST:
        raise TooMuch([(name, _("at most %(most)d at once. Send it in parts.", most=ITEMS_MOST))])
    return value


def _phone(value: object) -> said.PhoneSaid:
    told = value if isinstance(value, dict) else {}
    key, unsent = told.get("key"), told.get("unsent", 0)
    if not isinstance(key, str) or not CLIENT_ID.fullmatch(key):
        raise BadInput([("phone", _("says no good key of its own. Load its page anew."))])
    if not isinstance(unsent, int) or isinstance(unsent, bool) or unsent < 0:
        unsent = 0
    name = shown(told.get("name"), most=NAME_MOST)
    return said.PhoneSaid(key, name, min(unsent, UNSENT_MOST))


def _items(
    told: Sequence[object], kind: str, read: Callable[[Item], T], refused: list[said.Refused]
) -> tuple[T, ...]:
    found = []
    for one in told:
        item = Item(one if isinstance(one, dict) else {})
        value = read(item)
        if item.errors:
            client_id = shown(item.told.get("client_id"), most=64)
            refused.append(said.Refused(kind, client_id, tuple(item.errors)))
        else:
            found.append(value)
    return tuple(found)


def _exchange(told: object) -> tuple[str, Exchange] | None:
    item = Item(told if isinstance(told, dict) else {})
    run = item.run("run")
    exchange = Exchange(
        sent_ms=item.ms("sent_ms", most=MONOTONIC_MOST_MS),
        server_ms=item.ms("server_ms", most=WALL_MOST_MS),
        answered_ms=item.ms("answered_ms", most=WALL_MOST_MS),
        came_ms=item.ms("came_ms", most=MONOTONIC_MOST_MS),
        wall_ms=item.ms("wall_ms", most=WALL_MOST_MS),
    )
    return (run, exchange) if not item.errors and exchange.is_possible else None


def _scan(told: object) -> Scan | None:
    item = Item(told if isinstance(told, dict) else {})
    scan = Scan(
        shown_run=item.run("shown_run"),
        shown_ms=item.ms("shown_ms", most=MONOTONIC_MOST_MS),
        read_run=item.run("read_run"),
        read_ms=item.ms("read_ms", most=MONOTONIC_MOST_MS),
    )
    return scan if not item.errors else None


def _line(item: Item) -> said.LineSaid:
    outcome, number = item.one_of("outcome", tuple(OUTCOMES)), item.number()
    if outcome in NAMES_SOMEBODY and number is None:
        item.errors.append(_("it does not say whose line it is."))
    wall_ms = item.ms("wall_ms", most=WALL_MOST_MS)
    noted_ms = item.maybe_ms("noted_ms", most=WALL_MOST_MS)
    return said.LineSaid(
        client_id=item.client_id(),
        number=number,
        outcome=outcome,
        note=item.words("note", most=NOTE_MOST),
        noted_ms=wall_ms if noted_ms is None else noted_ms,
        run=item.run("run"),
        monotonic_ms=item.ms("monotonic_ms", most=MONOTONIC_MOST_MS),
        wall_ms=wall_ms,
        consent_shown=item.yes_or_no("consent_shown"),
        consent_known_ms=item.maybe_ms("consent_known_ms", most=WALL_MOST_MS),
    )


def _wish(item: Item) -> said.WishSaid:
    kind, number, gone = item.one_of("kind", KINDS), item.number(), item.yes_or_no("gone")
    from_ms = item.maybe_ms("from_ms", most=WALL_MOST_MS)
    if number is None and not item.errors:
        item.errors.append(_("it does not say whose wish it is."))
    if kind == "late" and from_ms is None and not gone and not item.errors:
        item.errors.append(_("it does not say from when the swimmer is there."))
    return said.WishSaid(
        client_id=item.client_id(),
        number=number or 0,
        kind=kind,
        from_ms=from_ms,
        gone=bool(gone),
        wall_ms=item.maybe_ms("wall_ms", most=WALL_MOST_MS),
    )


def _station_word(item: Item) -> said.StationWordSaid:
    try:
        station = uuid.UUID(str(item.told.get("station")))
    except ValueError:
        station = uuid.UUID(int=0)  # refused with those of other clinics
    return said.StationWordSaid(
        client_id=item.client_id(),
        station=station,
        state=item.one_of("state", STATES),
        wall_ms=item.ms("wall_ms", most=WALL_MOST_MS),
    )
