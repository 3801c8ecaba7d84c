"""A long audit trail, written in bulk with the trail's own signature."""

from __future__ import annotations

import uuid

from django.utils import timezone

from portal.actions import audit
from portal.models import AuditEntry

AT_ONCE = 5_000


def grow_trail(count: int) -> None:
    """Entries 1 to `count` of an empty trail, as `audit.record` would have written them."""
    previous, rows = audit.GENESIS, []
    actor, club, swim = uuid.uuid4(), uuid.uuid4(), str(uuid.uuid4())
    for seq in range(1, count + 1):
        at = timezone.now()
        entry = {
            "seq": seq,
            "at": at.isoformat(),
            "action": "swim.view",
            "actor": str(actor),
            "club": str(club),
            "subject": ["clinics.Swim", swim],
            "detail": {"n": seq},
        }
        text = audit._canonical(entry)
        previous = audit._mac(previous, text)
        rows.append(
            AuditEntry(
                seq=seq,
                at=at,
                action="swim.view",
                actor_id=actor,
                club_id=club,
                subject_kind="clinics.Swim",
                subject_id=swim,
                text=text,
                mac=previous,
            )
        )
        if len(rows) == AT_ONCE or seq == count:
            AuditEntry.objects.bulk_create(rows)
            rows = []
