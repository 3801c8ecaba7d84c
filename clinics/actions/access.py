"""Who looked at whose swim: one entry per viewer, swim and quarter of an hour.

The chain holds that somebody watched or listened. Each single request (byte ranges, stills,
strips) goes to the log, by ids and without addresses, so that nobody can stuff the chain.
Denials are noted for the whole site in portal/middleware.py.
"""

from __future__ import annotations

import logging
from datetime import timedelta
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from clinics.models import ClipFile, Swim
from portal.actions.audit import record
from portal.models import AuditEntry

if TYPE_CHECKING:
    import uuid

    from portal.models import User

log = logging.getLogger("clinics.access")

ONE_ENTRY_PER = timedelta(minutes=15)
WATCHED = {ClipFile.Kind.VIDEO, ClipFile.Kind.SOUND}


def note_view(*, clip_file: ClipFile, by: User, asked: str = "") -> None:
    """Somebody whom the fence let through is served a file. `asked`: the byte range."""
    log.info("served file=%s kind=%s to=%s %s", clip_file.pk, clip_file.kind, by.pk, asked[:40])
    if clip_file.kind in WATCHED:
        note_once(action="swim.view", swim_id=clip_file.clip.swim_id, by=by)


def note_once(*, action: str, swim_id: uuid.UUID, by: User) -> None:
    """An entry for this act on this swim, if there is none of the last quarter of an hour."""
    if _noted(action, swim_id, by):
        return
    with transaction.atomic():
        # The swim's row is the lock: of four players that start at once, one writes.
        swim = Swim.objects.select_for_update(of=("self",)).select_related("entry__clinic__club")
        row = swim.get(pk=swim_id)
        if not _noted(action, swim_id, by):
            record(action=action, by=by, subject=row, club=row.entry.clinic.club)


def _noted(action: str, swim_id: uuid.UUID, by: User) -> bool:
    return AuditEntry.objects.filter(
        action=action,
        actor_id=by.pk,
        subject_kind=Swim._meta.label,
        subject_id=str(swim_id),
        at__gt=timezone.now() - ONE_ENTRY_PER,
    ).exists()
