"""The audit trail: an HMAC chain over canonical JSON."""

from __future__ import annotations

import datetime as dt
import hashlib
import hmac
import json
import uuid
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.conf import settings
from django.db import connection, models, transaction
from django.utils import timezone

from portal.models import AuditEntry

if TYPE_CHECKING:
    from portal.models import Club, User

GENESIS = "0" * 64


def _canonical(entry: dict[str, Any]) -> str:
    return json.dumps(entry, sort_keys=True, separators=(",", ":"), ensure_ascii=True, default=str)


def signed(text: str) -> str:
    """HMAC with the key of the trail."""
    return hmac.digest(settings.AUDIT_KEY.encode(), text.encode(), hashlib.sha256).hex()


def _mac(previous_mac: str, text: str) -> str:
    return signed(f"{previous_mac}\n{text}")


def _lock_chain() -> None:
    """One writer at a time: SQLite's write transaction already is that, PostgreSQL is asked."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(727001)")


def record(
    *,
    action: str,
    by: User | None,
    subject: models.Model | None = None,
    club: Club | None = None,
    detail: dict[str, Any] | None = None,
) -> AuditEntry:
    """Append one entry, inside the caller's transaction. Ids only: never names or addresses."""
    with transaction.atomic():
        _lock_chain()
        last = AuditEntry.objects.order_by("-seq").first()
        seq = last.seq + 1 if last else 1
        at = timezone.now()
        kind = subject._meta.label if subject is not None else ""
        entry = {
            "seq": seq,
            "at": at.isoformat(),
            "action": action,
            "actor": str(by.pk) if by is not None and by.pk else None,
            "club": str(club.pk) if club is not None else None,
            "subject": [kind, str(subject.pk)] if subject is not None else None,
            "detail": detail or {},
        }
        text = _canonical(entry)
        return AuditEntry.objects.create(
            seq=seq,
            at=at,
            action=action,
            actor_id=by.pk if by is not None else None,
            club_id=club.pk if club is not None else None,
            subject_kind=kind,
            subject_id=str(subject.pk) if subject is not None else "",
            text=text,
            mac=_mac(last.mac if last else GENESIS, text),
        )


@dataclass(frozen=True)
class ChainCheck:
    """`broken_at` is the sequence number of the first entry that does not fit, or None."""

    count: int
    head: str
    broken_at: int | None


# Without model instances: a hundred thousand entries are walked in seconds.
COLUMNS = "seq", "at", "action", "actor_id", "club_id", "subject_kind", "subject_id", "text", "mac"


def verify_chain() -> ChainCheck:
    """Walk the chain from its beginning. A cut tail shows only against an exported head."""
    previous, expected, count = GENESIS, 1, 0
    rows = AuditEntry.objects.order_by("seq").values_list(*COLUMNS)
    for *columns, text, mac in rows.iterator(chunk_size=5000):
        intact = columns[0] == expected and hmac.compare_digest(
            mac.encode(), _mac(previous, text).encode()
        )
        if not intact or not _columns_agree(text, *columns):
            return ChainCheck(count=count, head=previous, broken_at=columns[0])
        previous, expected, count = mac, expected + 1, count + 1
    return ChainCheck(count=count, head=previous, broken_at=None)


def _columns_agree(
    text: str,
    seq: int,
    at: dt.datetime,
    action: str,
    actor_id: uuid.UUID | None,
    club_id: uuid.UUID | None,
    subject_kind: str,
    subject_id: str,
) -> bool:
    told = json.loads(text)
    return (
        told["seq"] == seq
        and told["at"] == at.isoformat()
        and told["action"] == action
        and told["actor"] == (str(actor_id) if actor_id else None)
        and told["club"] == (str(club_id) if club_id else None)
        and (told["subject"] or ["", ""]) == [subject_kind, subject_id]
    )
