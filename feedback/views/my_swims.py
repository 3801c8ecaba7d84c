"""My swims: what a swimmer was given, newest clinic first."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.db.models import Prefetch
from django.http import HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_safe

from clinics.models import Clip, ClipFile, Swim
from feedback.actions.comparable import last_time
from feedback.models import Comment, Drawing, FeedbackSent, LastLooked, TakeHome
from feedback.views.feedback import names_of
from feedback.views.on_strip import clip_names, lane_of
from portal.compute.lane_strip import Lane
from portal.models import User
from portal.requests import SignedInRequest


@dataclass(frozen=True)
class Still:
    file_id: uuid.UUID
    name: str


@dataclass(frozen=True)
class SwimCard:
    swim: Swim
    stills: list[Still]
    lane: Lane
    sent: FeedbackSent | None
    from_coach: str  # “3 comments, 2 drawings from Ines Aldana”, or nothing yet
    new: int  # of all that others said, drew and sent: since the last look
    last_time: Swim | None  # what it can stand beside
    page: TakeHome | None  # to take home, once it is given


def with_pictures(swims: Any, user: User) -> Any:
    """Swims with their visible clips and posters, in a fixed number of queries."""
    posters = ClipFile.objects.visible_to(user).filter(kind=ClipFile.Kind.POSTER)
    clips = Clip.objects.visible_to(user).select_related("station")
    return swims.select_related("entry__swimmer", "entry__clinic").prefetch_related(
        Prefetch("clips", clips, to_attr="seen_clips"),
        Prefetch("seen_clips__files", posters, to_attr="posters"),
    )


def _with_what_was_said(swims: Any, user: User) -> Any:
    """Also with what the user may read of what was said, drawn and sent."""
    comments = Comment.objects.visible_to(user).filter(taken_back_at__isnull=True)
    comments = comments.select_related("recording__clock_fit", "author")
    drawings = Drawing.objects.visible_to(user).select_related("author")
    sent = FeedbackSent.objects.visible_to(user).select_related("sent_by").order_by("-sent_at")
    pages = TakeHome.objects.visible_to(user).filter(given_at__isnull=False)
    return swims.prefetch_related(
        Prefetch("comments", comments, to_attr="seen_comments"),
        Prefetch("drawings", drawings, to_attr="seen_drawings"),
        Prefetch("feedback_sent", sent, to_attr="seen_sent"),
        Prefetch("take_home", pages, to_attr="seen_page"),
    )


def stills_of(clips: Iterable[Clip]) -> list[Still]:
    """One still of each station: of its first pass."""
    stills: dict[uuid.UUID, Still] = {}
    for clip in sorted(clips, key=lambda clip: (clip.station.order, clip.pass_no)):
        for poster in clip.posters[:1]:  # type: ignore[attr-defined]
            stills.setdefault(clip.station_id, Still(poster.pk, clip.station.name))
    return list(stills.values())


def _card(swim: Any, user: User, looked_at: dt.datetime | None, before: Swim | None) -> SwimCard:
    comments = [c for c in swim.seen_comments if c.author_id != user.pk]
    drawings = [d for d in swim.seen_drawings if d.author_id != user.pk]
    sent: list[FeedbackSent] = swim.seen_sent
    new = sum(
        looked_at is None or (it.sent_at or it.created_at) > looked_at
        for it in [*comments, *drawings, *sent[:1]]
    )
    return SwimCard(
        swim=swim,
        stills=stills_of(swim.seen_clips),
        lane=lane_of(swim, clip_names(swim.seen_clips), swim.seen_comments),
        sent=sent[0] if sent else None,
        from_coach=_from_coach(comments, drawings, sent[:1]),
        new=new,
        last_time=before,
        page=getattr(swim, "seen_page", None),
    )


def _from_coach(comments: list[Comment], drawings: list[Drawing], sent: list[FeedbackSent]) -> str:
    """Counted, with the names of those it is from; empty: nothing said or drawn."""
    counted = [
        words % {"n": count}
        for count, words in (
            (len(comments), ngettext("%(n)d comment", "%(n)d comments", len(comments))),
            (len(drawings), ngettext("%(n)d drawing", "%(n)d drawings", len(drawings))),
        )
        if count
    ]
    people = [c.author for c in comments] + [d.author for d in drawings]
    people += [it.sent_by for it in sent]
    names = names_of(person for person in people if person)
    if not counted or not names:
        return ", ".join(counted)
    return _("%(what)s from %(names)s") % {"what": ", ".join(counted), "names": names}


@require_safe
def my_swims(request: SignedInRequest) -> HttpResponse:
    user = request.user
    mine = Swim.objects.reviewed_by(user).filter(entry__swimmer__user=user)
    mine = mine.order_by("entry__swimmer__name", "-entry__clinic__date", "start_at")
    looked = dict(LastLooked.objects.filter(user=user).values_list("swim_id", "at"))
    swims = list(_with_what_was_said(with_pictures(mine, user), user))
    watchable = [swim for swim in swims if swim.seen_clips]
    by_name: dict[str, list[SwimCard]] = {}
    for swim in swims:
        cards = by_name.setdefault(swim.entry.swimmer.name, [])
        before = last_time(swim, watchable) if swim.seen_clips else None
        cards.append(_card(swim, user, looked.get(swim.pk), before))
    return render(request, "feedback/my_swims.html", {"by_name": by_name})
