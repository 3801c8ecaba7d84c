"""A consent receipt after ISO/IEC TS 27560:2023, as plain data.

`MAPPING` says which part and element of the specification each of our fields stands for. The
specification itself is not public. What is marked `guide` is taken, with whether it is
mandatory, from the table “ISO 27560:2023, EU GDPR, and DPV” of the public guide “Consent
Records and Receipts as per ISO/IEC TS 27560:2023 using DPV” (W3C Data Privacy Vocabularies
and Controls Community Group, https://w3id.org/dpv/guides/consent-27560), and named after the
identifiers that the guide lists (6.3.4.1 privacy_notice, and so on). What is marked `memory`
is from general knowledge of the specification and of the Kantara Consent Receipt 1.1 that it
is built upon, and may differ in letter.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

SCHEMA_VERSION = "ISO/IEC TS 27560:2023; sidelane/1"
GIVEN, REFUSED, WITHDRAWN, REPLACED = "given", "refused", "withdrawn", "replaced"


@dataclass(frozen=True)
class Element:
    """Where one element of the specification stands in our receipt (a path from its root)."""

    part: str
    name: str
    path: str
    mandatory: bool
    source: str = "guide"


def _elements(part: str, told: str) -> list[Element]:
    """Lines of `name path [optional] [memory]`."""
    found = []
    for line in told.strip().splitlines():
        name, path, *marks = line.split()
        source = "memory" if "memory" in marks else "guide"
        found.append(Element(part, name, path, "optional" not in marks, source))
    return found


MAPPING: list[Element] = [
    *_elements(
        "receipt",
        """
        receipt_id receipt.receipt_id
        schema_version receipt.schema_version
        receipt_time receipt.receipt_time optional memory
        """,
    ),
    *_elements(
        "header",
        """
        schema_version record.schema_version
        record_id record.record_id
        pii_principal_id record.pii_principal_id
        """,
    ),
    *_elements(
        "processing",
        """
        privacy_notice processing.privacy_notice
        language processing.language
        purpose processing.purposes.0.purpose
        purpose_type processing.purposes.0.purpose_type optional
        lawful_basis processing.purposes.0.lawful_basis optional
        pii_information processing.purposes.0.pii_information
        pii_type processing.purposes.0.pii_information.0.pii_type
        pii_optional processing.purposes.0.pii_information.0.pii_optional optional
        pii_controllers processing.purposes.0.pii_controllers
        collection_method processing.purposes.0.collection_method optional
        processing_method processing.purposes.0.processing_method optional
        storage_locations processing.purposes.0.storage_locations
        retention_period processing.purposes.0.retention_period
        jurisdiction processing.purposes.0.jurisdiction
        recipient_third_parties processing.purposes.0.recipient_third_parties
        withdrawal_method processing.purposes.0.withdrawal_method
        privacy_rights processing.purposes.0.privacy_rights optional
        """,
    ),
    *_elements(
        "party",
        """
        party_id parties.0.party_id
        party_name parties.0.party_name
        party_address parties.0.party_address
        party_contact parties.0.party_contact
        party_type parties.0.party_type
        party_role parties.0.party_role optional
        """,
    ),
    *_elements(
        "event",
        """
        event_time events.0.event_time
        validity_duration events.0.validity_duration
        entity_id events.0.entity_id
        event_type events.0.event_type
        event_state events.0.event_state
        """,
    ),
]


@dataclass(frozen=True)
class Facts:
    """What a receipt says. Words are in the receipt's language; times are in UTC."""

    record_id: str
    principal_id: str
    principal_name: str
    club_id: str
    club: str
    controller: str
    address: str
    contact: str
    checkers: Sequence[str]
    team: Sequence[str]
    purpose: str
    sentence: str
    shown_text: str
    text_version: int  # 0: said before the club had published a text
    text_sha256: str
    language: str
    agrees: bool
    method: str
    recorded_by: str  # an opaque id; empty: nobody was signed in
    given_at: dt.datetime
    ended_at: dt.datetime | None
    state: str
    notice_url: str
    withdraw_url: str
    retention: str
    rights: Sequence[str]


def receipt(facts: Facts, *, issued_at: dt.datetime) -> dict[str, Any]:
    """The whole record as one JSON document: header, processing, parties, events."""
    return {
        "receipt": {
            "receipt_id": f"{facts.record_id}#{_time(issued_at)}",
            "schema_version": SCHEMA_VERSION,
            "receipt_time": _time(issued_at),
        },
        "record": {
            "schema_version": SCHEMA_VERSION,
            "record_id": facts.record_id,
            "pii_principal_id": facts.principal_id,
        },
        "processing": {
            "privacy_notice": {
                "url": facts.notice_url,
                "version": facts.text_version,
                "sha256": facts.text_sha256,
                "text_as_shown": facts.shown_text,
            },
            "language": facts.language,
            "purposes": [_purpose(facts)],
        },
        "parties": _parties(facts),
        "events": _events(facts),
    }


@dataclass(frozen=True)
class _Handled:
    """What of the swimmer a purpose is about, and what is done with it."""

    information: tuple[tuple[str, bool], ...]  # type, and whether it may be left out
    collected_by: str
    processed_by: tuple[str, ...]


_FILM = _Handled(
    (("video and sound of swimming", True), ("name", False)),
    "fixed cameras at the pool",
    ("recording", "cutting into clips", "showing", "commenting"),
)
_MEASURES = _Handled(
    (("measures of swimming: times, speeds, distances, stroke rates", True),),
    "marks placed on frames of the swimmer's clips",
    ("measuring", "median and quartiles over at least five swimmers, rounded, without names"),
)
_HANDLED = {"count-among-group": _MEASURES}  # all others are about the film


def _purpose(facts: Facts) -> dict[str, Any]:
    handled = _HANDLED.get(facts.purpose, _FILM)
    return {
        "purpose": facts.sentence,
        "purpose_type": facts.purpose,
        "lawful_basis": "consent",
        "pii_information": [
            {"pii_type": kind, "pii_optional": optional} for kind, optional in handled.information
        ],
        "pii_controllers": [facts.club_id],
        "collection_method": handled.collected_by,
        "processing_method": list(handled.processed_by),
        "storage_locations": ["the controller's own server"],
        "retention_period": facts.retention,
        "jurisdiction": facts.address or "where the controller is established",
        "recipient_third_parties": list(facts.team),
        "withdrawal_method": facts.withdraw_url,
        "privacy_rights": list(facts.rights),
    }


def _parties(facts: Facts) -> list[dict[str, Any]]:
    """The controller first, then the swimmer, then who is named in the text."""
    controller = _party(facts.club_id, facts.controller, "controller", "organisation")
    controller |= {"party_address": facts.address, "party_contact": facts.contact}
    swimmer = _party(facts.principal_id, facts.principal_name, "pii principal", "person")
    checkers = [_party("", name, "checker", "person") for name in facts.checkers]
    team = [_party("", name, "visiting team", "person") for name in facts.team]
    return [controller, swimmer, *checkers, *team]


def _party(party_id: str, name: str, role: str, kind: str) -> dict[str, Any]:
    return {
        "party_id": party_id,
        "party_name": name,
        "party_role": role,
        "party_type": kind,
        "party_address": "",
        "party_contact": "",
    }


def _events(facts: Facts) -> list[dict[str, Any]]:
    """What was said, and what ended it."""
    first = {
        "event_time": _time(facts.given_at),
        "event_type": "explicit consent",
        "event_state": GIVEN if facts.agrees else REFUSED,
        "event_method": facts.method,
        "entity_id": facts.principal_id,
        "recorded_by": facts.recorded_by,
        "validity_duration": "until withdrawn" if facts.agrees else "",
    }
    if not facts.agrees or facts.ended_at is None:
        return [first]
    last = {**first, "event_time": _time(facts.ended_at), "event_state": facts.state}
    return [first, {**last, "event_method": "", "recorded_by": "", "validity_duration": ""}]


def _time(instant: dt.datetime) -> str:
    return instant.astimezone(dt.UTC).isoformat(timespec="seconds").replace("+00:00", "Z")


def at_path(document: Any, path: str) -> Any:
    """The value at a path like `events.0.event_time`.

    >>> at_path({"a": [{"b": 3}]}, "a.0.b")
    3
    """
    for key in path.split("."):
        document = document[int(key)] if key.isdigit() else document[key]
    return document
