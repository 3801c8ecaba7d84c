"""Saying something about a swim: comment, reply, edit."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING, Any

from django.db import transaction
from django.utils import timezone

from feedback.actions.frames import pts_ticks_of
from feedback.actions.tell import ask_to_tell
from feedback.models import Comment
from portal.actions.audit import record

if TYPE_CHECKING:
    from clinics.models import Clip, Swim
    from portal.models import User


@transaction.atomic
def say(
    *, swim: Swim, by: User, text: str, clip: Clip | None = None, frame: int | None = None
) -> Comment:
    """A comment at the clip's frame that was on screen, or about the whole swim.

    It is sent at once; a swimmer who does not have the swim yet cannot see it before the
    swim is given. Raises FrameUnknown.
    """
    anchor: dict[str, Any] = {}
    if clip is not None and frame is not None:
        anchor = {"recording": clip.recording, "pts_ticks": pts_ticks_of(clip, frame)}
    comment = Comment.objects.create(
        swim=swim,
        **anchor,
        author=by,
        text=text,
        sent_at=timezone.now(),
    )
    return _sent(comment, by, "comment")


@transaction.atomic
def reply(*, to: Comment, by: User, text: str) -> Comment:
    """A reply stands under what it answers; a reply to a reply under the same comment."""
    comment = Comment.objects.create(
        swim=to.swim,
        reply_to_id=to.reply_to_id or to.pk,
        author=by,
        text=text,
        sent_at=timezone.now(),
    )
    return _sent(comment, by, "reply")


def _sent(comment: Comment, by: User, action: str) -> Comment:
    record(
        action=action,
        by=by,
        subject=comment,
        club=comment.swim.entry.clinic.club,
        detail={"swim": str(comment.swim_id)},
    )
    ask_to_tell(swim=comment.swim, by=by)
    return comment


@transaction.atomic
def edit(*, comment: Comment, by: User, text: str) -> Comment:
    """Change one's own words. The trail keeps a checksum of what stood there, not the words."""
    if text == comment.text:
        return comment
    before = hashlib.sha256(comment.text.encode()).hexdigest()
    comment.text, comment.edited_at = text, timezone.now()
    comment.save(update_fields=["text", "edited_at"])
    record(
        action="comment-edited",
        by=by,
        subject=comment,
        club=comment.swim.entry.clinic.club,
        detail={"swim": str(comment.swim_id), "sha256_before": before},
    )
    return comment
