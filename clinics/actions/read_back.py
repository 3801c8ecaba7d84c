"""The stored copy of what came in, read back from the disk and compared, before anybody is told
that the card is safely in."""

from __future__ import annotations

import os
import uuid
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from django.utils import timezone
from django.utils.translation import gettext as _

from clinics.actions.index import ask_for_index, fail
from clinics.media.checksum import sha256_file
from clinics.models import Recording, SourceFile

if TYPE_CHECKING:
    from portal.models import User


def verify_and_ask(
    *,
    recordings: Sequence[Recording],
    by: User | None,
    report: Callable[[float], None] = lambda _: None,
) -> dict[uuid.UUID, str]:
    """Read each stored copy back that was not yet; then ask for the index of what is not ready.

    The recordings whose copy is not what arrived, with the sentence that says so.
    """
    unread = SourceFile.objects.filter(recording__in=recordings, verified_at__isnull=True)
    rows = list(unread.select_related("stored").order_by("recording_id", "order"))
    total, done = sum(row.size_bytes for row in rows) or 1, 0
    wrong: dict[uuid.UUID, list[str]] = {}
    for row in rows:
        part = part_of(report, done / total, row.size_bytes / total)
        if not _reads_back(row, part):
            wrong.setdefault(row.recording_id, []).append(row.name)
        done += row.size_bytes
    reasons = {pk: _unlike_the_card(names) for pk, names in wrong.items()}
    for recording in recordings:
        if recording.pk in reasons:
            fail(recording, reasons[recording.pk])
        else:
            ask_for_index(recording, by)
    return reasons


def _reads_back(row: SourceFile, report: Callable[[float], None]) -> bool:
    """Whether the stored copy, read from the disk and not from memory, has its checksum."""
    path = row.stored.local_path()
    with path.open("rb") as handle:
        os.fsync(handle.fileno())
        os.posix_fadvise(handle.fileno(), 0, 0, os.POSIX_FADV_DONTNEED)
    if sha256_file(path, report) != row.sha256:
        return False
    SourceFile.objects.filter(pk=row.pk).update(verified_at=timezone.now())
    return True


def _unlike_the_card(names: list[str]) -> str:
    return _(
        "The stored copy of %(names)s does not read back as it arrived. Keep the card, tell "
        "whoever runs the server that its disk may be failing."
    ) % {"names": ", ".join(names)}


def part_of(report: Callable[..., None], begin: float, span: float) -> Callable[[float], None]:
    """What reports `span` of the whole work's progress, from `begin` on."""
    return lambda progress: report(begin + span * min(progress, 1.0))
