"""What becomes of one's own words: changed, deleted, taken back.

A draft was read by nobody: it changes without a trace of what it said. What was sent keeps what
it said before, for those who may read it; the trail holds a checksum, never the words.
"""

from __future__ import annotations

import datetime as dt
import hashlib
from typing import TYPE_CHECKING, Any

from django.db import transaction
from django.utils import timezone

from feedback.models import Comment, CommentVersion
from portal.actions.audit import record
from portal.actions.ledger import note_withdrawn

if TYPE_CHECKING:
    from portal.models import User


def _own(comment: Comment, by: User) -> Comment | None:
    """The row, locked; None if it is gone, taken back, or somebody else's."""
    rows = Comment.objects.select_for_update(of=("self",)).filter(pk=comment.pk, author=by)
    return rows.filter(taken_back_at__isnull=True).first()


@transaction.atomic
def edit(*, comment: Comment, by: User, text: str, phase: str | None = None) -> Comment:
    """Change one's own words, and the phase if one is said."""
    row = _own(comment, by)
    if row is None:
        return comment
    if phase is not None and phase != row.phase:
        row.phase = phase
        row.save(update_fields=["phase"])
    if text != row.text:
        before = row.text
        row.text = text
        if row.sent_at is not None:
            row.edited_at = timezone.now()
            CommentVersion.objects.create(comment=row, text=before, until_at=row.edited_at)
        row.save(update_fields=["text", "edited_at"])
        _note("comment-edited", comment, by, sha256_before=_sha256(before))
    return row


@transaction.atomic
def take_back(*, comment: Comment, by: User) -> None:
    """Take one's own words back: what they said before goes, too. Something is left in their
    place only where somebody replied. Done twice it is noted once."""
    row = _own(comment, by)
    if row is None:
        return
    _note(
        "comment-draft-deleted" if row.sent_at is None else "comment-taken-back",
        comment,
        by,
        sha256_before=_sha256(row.text),
    )
    note_withdrawn(Comment._meta.label, row.pk, "")
    words_go(row, timezone.now())


def words_go(row: Comment, at: dt.datetime) -> None:
    """Of a comment that is taken back, without noting it."""
    if not row.replies.exists():
        row.delete()
        return
    row.versions.all().delete()
    row.text, row.taken_back_at, row.told_at = "", at, row.told_at or at
    row.save(update_fields=["text", "taken_back_at", "told_at"])


def _sha256(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def _note(action: str, comment: Comment, by: User, **detail: Any) -> None:
    record(
        action=action,
        by=by,
        subject=comment,
        club=comment.swim.entry.clinic.club,
        detail={"swim": str(comment.swim_id), **detail},
    )
