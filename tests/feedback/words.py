"""Words for tests: what a coach says is a draft until it is sent."""

from __future__ import annotations

from typing import Any

from feedback.actions import say
from feedback.models import Comment


def sent(comment: Comment) -> Comment:
    """What a coach drafted, sent as their feedback would be."""
    assert comment.author is not None
    say.send_drafts(swim=comment.swim, by=comment.author)
    comment.refresh_from_db()
    return comment


def say_and_send(**told: Any) -> Comment:
    """Said and sent, whoever says it."""
    return sent(say.say(**told))


def reply_and_send(**told: Any) -> Comment:
    return sent(say.reply(**told))
