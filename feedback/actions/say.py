"""Saying something about a swim: comment, reply, note among coaches; sending what was drafted.

What a coach says to a swimmer is a draft until the coach sends the swim's feedback as one. A
swimmer's words and notes among coaches go at once. So does what follows, where a coach wants it:
once feedback was sent, or in answer to what the swimmer said.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.utils import timezone

from feedback.actions.draw import send_with, take_up
from feedback.actions.frames import pts_ticks_of
from feedback.actions.phrases import count_use, keep_phrase
from feedback.actions.tell import ask_to_tell
from feedback.models import Comment, FeedbackSent
from feedback.privacy import coaches, is_own
from portal.actions.audit import record

if TYPE_CHECKING:
    import uuid

    from clinics.models import Clip, Swim
    from portal.models import User


@transaction.atomic
def say(
    *,
    swim: Swim,
    by: User,
    text: str,
    clip: Clip | None = None,
    frame: int | None = None,
    until_frame: int | None = None,
    on_swim: bool = False,
    phase: str = "",
    for_coaches: bool = False,
    now: bool = False,
    phrases: Iterable[uuid.UUID] = (),
    keep: bool = False,
) -> Comment:
    """A comment at the clip's frame that was on screen, over the span until another frame of the
    clip, or without a frame about the whole swim. `now`: not kept as a draft, if that may be.
    `phrases`: the coach's own that were used for it; `keep`: keep these words as one.

    Raises FrameUnknown; PermissionDenied for a note by somebody who does not coach the swim.
    """
    anchor: dict[str, Any] = {}
    if clip is not None and frame is not None:
        until = None if until_frame is None else pts_ticks_of(clip, until_frame)
        anchor = {
            "recording": clip.recording,
            "pts_ticks": pts_ticks_of(clip, frame),
            "until_ticks": until,
            "on_swim": on_swim,
        }
    told = {"swim": swim, **anchor, "author": by, "text": text, "phase": phase}
    count_use(by=by, phrases=phrases)
    if keep:
        keep_phrase(by=by, text=text, phase=phase)
    return _write(told, by, for_coaches=for_coaches, now=now)


@transaction.atomic
def reply(*, to: Comment, by: User, text: str, now: bool = False) -> Comment:
    """A reply stands under what it answers; a reply to a reply under the same comment. A reply
    to a note is one."""
    told = {"swim": to.swim, "reply_to": to.reply_to or to, "author": by, "text": text}
    return _write(told, by, for_coaches=to.for_coaches, now=now)


def _write(told: dict[str, Any], by: User, *, for_coaches: bool, now: bool) -> Comment:
    swim: Swim = told["swim"]
    as_coach = not is_own(by, swim) and coaches(by, swim)
    if for_coaches and not as_coach:
        raise PermissionDenied("only a coach to whom the swim was passed on writes to coaches")
    draft = as_coach and not for_coaches and not (now and may_go_alone(swim, told.get("reply_to")))
    sent_at = None if draft else timezone.now()
    comment = Comment.objects.create(**told, for_coaches=for_coaches, sent_at=sent_at)
    take_up(comment=comment)
    kind = "reply" if comment.reply_to_id else "note" if for_coaches else "comment"
    _note(f"{kind}-draft" if draft else kind, comment, by)
    if not draft:
        ask_to_tell(swim=swim, by=by)
    return comment


def may_go_alone(swim: Swim, to: Comment | None) -> bool:
    """May a coach's words go to the swimmer without the swim's feedback: the swimmer has the
    swim, and got feedback on it before, or said something in this thread."""
    if swim.given_at is None or (to is not None and to.sent_at is None):
        return False
    if FeedbackSent.objects.filter(swim=swim).exists():
        return True
    if to is None or swim.entry.swimmer.user_id is None:
        return False
    thread = Comment.objects.filter(pk=to.pk) | Comment.objects.filter(reply_to=to)
    asked = thread.filter(author_id=swim.entry.swimmer.user_id, for_coaches=False)
    return asked.filter(taken_back_at__isnull=True).exists()


def send_drafts(*, swim: Swim, by: User) -> int:
    """Send what this coach drafted on the swim; how many went. Who calls notes it, asks for the
    mail about it, and does both in one transaction with this."""
    drafts = Comment.objects.filter(swim=swim, author=by, sent_at__isnull=True, for_coaches=False)
    return drafts.update(sent_at=timezone.now())


@transaction.atomic
def send_alone(*, comment: Comment, by: User) -> bool:
    """Send one draft by itself, as a follow-up; False: it waits for the swim's feedback, or
    was sent already."""
    row = Comment.objects.select_for_update(of=("self",)).get(pk=comment.pk)
    if row.sent_at is not None or not may_go_alone(comment.swim, row.reply_to):
        return False
    row.sent_at = timezone.now()
    row.save(update_fields=["sent_at"])
    send_with(comment=row)
    _note("reply" if row.reply_to_id else "comment", row, by)
    ask_to_tell(swim=comment.swim, by=by)
    return True


def _note(action: str, comment: Comment, by: User) -> None:
    record(
        action=action,
        by=by,
        subject=comment,
        club=comment.swim.entry.clinic.club,
        detail={"swim": str(comment.swim_id)},
    )
