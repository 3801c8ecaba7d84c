"""The column of what was said about a swim."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from django.utils import timezone

from clinics.models import Swim
from feedback.actions.captions import comment_swim_s
from feedback.actions.frames import frame_at, swim_s_at
from feedback.actions.look import look
from feedback.forms import SayForm
from feedback.models import Comment, FeedbackSent, Phrase
from feedback.privacy import is_own
from feedback.views.coaching import coaches_here
from feedback.views.room_data import StationView, opening, views_of
from portal.models import User
from portal.requests import SignedInRequest


@dataclass(frozen=True)
class Said:
    """A comment as the page shows it. `view` and `frame` are where a tap leads; `until_*` the
    other end of a span. `may_go`: its author may send the draft by itself; `answer_may_go`: a
    coach's reply may go by itself."""

    comment: Comment
    at_s: float | None
    until_s: float | None
    view: StationView | None
    frame: int | None
    until_frame: int | None
    new: bool
    mine: bool
    when: dt.datetime
    may_go: bool = False
    answer_may_go: bool = False
    replies: list[Said] = field(default_factory=list)

    @property
    def draft(self) -> bool:
        return self.comment.sent_at is None


@dataclass(frozen=True)
class _Reader:
    """Who reads the column, and what they may do there."""

    user: User
    looked_at: dt.datetime | None
    swimmer_id: Any  # the user that the swimmer signs in as
    given: bool
    answered: bool  # feedback was sent before

    def may_go(self, root: Comment | None, thread: Iterable[Comment]) -> bool:
        """As `feedback.actions.say.may_go_alone`, from the rows at hand. `root`: of a reply."""
        if not self.given or (root is not None and root.sent_at is None):
            return False
        asked = (
            one.author_id == self.swimmer_id and one.taken_back_at is None and not one.for_coaches
            for one in thread
        )
        return self.answered or (self.swimmer_id is not None and any(asked))


def said_about(
    swim: Swim,
    user: User,
    views: list[StationView],
    looked_at: dt.datetime | None,
    answered: bool = False,
) -> list[Said]:
    """Comments in order of swim time, those about the whole swim last; replies beneath.
    `answered`: feedback was sent on the swim before."""
    reader = _Reader(
        user=user,
        looked_at=looked_at,
        swimmer_id=swim.entry.swimmer.user_id,
        given=swim.given_at is not None,
        answered=answered,
    )
    rows = Comment.objects.visible_to(user).filter(swim=swim).prefetch_related("versions")
    threads: dict[Any, list[Comment]] = {}
    for comment in rows.select_related("author", "recording__clock_fit"):
        threads.setdefault(comment.reply_to_id or comment.pk, []).append(comment)
    roots = [_thread(swim, reader, thread, views) for thread in threads.values()]
    return sorted(roots, key=lambda said: (said.at_s is None, said.at_s or 0.0, said.when))


def _thread(swim: Swim, reader: _Reader, thread: list[Comment], views: list[StationView]) -> Said:
    """A comment with its replies. Of a comment that the reader may not see, a reply that they
    may see stands by itself."""
    root = next((one for one in thread if one.reply_to_id is None), thread[0])
    replies = [one for one in thread if one is not root]
    answer_may_go = reader.may_go(root, thread)
    under = [_said(swim, reader, one, views, answer_may_go) for one in replies]
    return _said(
        swim,
        reader,
        root,
        views,
        reader.may_go(None, ()),
        answer_may_go=answer_may_go,
        replies=sorted(under, key=lambda said: said.when),
    )


def _said(
    swim: Swim,
    reader: _Reader,
    comment: Comment,
    views: list[StationView],
    may_go: bool,
    **thread: Any,
) -> Said:
    view, frame = _where(comment, views)
    mine = comment.author_id == reader.user.pk
    draft = comment.sent_at is None
    when = comment.sent_at or comment.created_at
    return Said(
        comment=comment,
        at_s=comment_swim_s(swim, comment),
        until_s=_until_s(swim, comment),
        view=view,
        frame=frame,
        until_frame=_until_frame(comment, view),
        new=not mine and (reader.looked_at is None or when > reader.looked_at),
        mine=mine,
        when=when,
        may_go=mine and draft and may_go,
        **thread,
    )


def _where(comment: Comment, views: list[StationView]) -> tuple[StationView | None, int | None]:
    """The view in which the comment's picture can be seen now. A cut that was made again
    may have left it out: then it is read without its picture."""
    if comment.pts_ticks is None:
        return None, None
    for view in views:
        if view.clip.recording_id == comment.recording_id:
            frame = frame_at(view.clip, comment.pts_ticks)
            if frame is not None:
                return view, frame
    return None, None


def _until_s(swim: Swim, comment: Comment) -> float | None:
    if comment.recording is None or comment.until_ticks is None:
        return None
    return swim_s_at(swim, comment.recording, comment.until_ticks)


def _until_frame(comment: Comment, view: StationView | None) -> int | None:
    if view is None or comment.until_ticks is None:
        return None
    return frame_at(view.clip, comment.until_ticks)


def said_part(
    request: SignedInRequest,
    swim: Swim,
    views: list[StationView],
    looked_at: dt.datetime | None,
    form: SayForm | None,
) -> dict[str, Any]:
    user = request.user
    opened = opening(swim, views, request.GET)
    first = {"clip": opened.view.key, "frame": opened.frame} if opened and opened.asked else {}
    coaching = coaches_here(request, swim) and not is_own(user, swim)
    answered = coaching and FeedbackSent.objects.filter(swim=swim).exists()
    said = said_about(swim, user, views, looked_at, answered)
    return {
        "said": said,
        "form": form or SayForm(swim=swim, user=user, initial=first),
        "writes_as_coach": coaching,
        "words_may_go": answered and swim.given_at is not None,
        "phrases": list(Phrase.objects.filter(coach=user)) if coaching else [],
        "captioned": views if any(one.at_s is not None and not one.draft for one in said) else [],
        "has_notes": any(one.comment.for_coaches for one in said),
    }


def column_of(
    request: SignedInRequest, swim: Swim, form: SayForm | None = None, **more: Any
) -> dict[str, Any]:
    """What the column needs alone, when it comes back without the page around it. What somebody
    else said since the page was opened is new."""
    views = views_of(swim, request.user)
    looked_at = look(swim=swim, user=request.user) or timezone.now()
    return {
        "swim": swim,
        "clinic": swim.entry.clinic,
        "views": views,
        "opening": opening(swim, views, request.GET),
        "coaching": coaches_here(request, swim),
        "own": is_own(request.user, swim),
        **said_part(request, swim, views, looked_at, form),
        **more,
    }
