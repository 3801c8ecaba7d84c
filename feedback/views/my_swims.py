"""My swims: what a swimmer was given, newest clinic first."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Prefetch
from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from clinics.models import Clip, ClipFile, Swim
from feedback.models import Comment, LastLooked
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
    said: int  # comments that others wrote
    new: int  # of these, since the last look


def with_what_was_seen_and_said(swims: Iterable[Swim], user: User) -> Iterable[Swim]:
    """Swims with their visible clips, posters and comments, in a fixed number of queries."""
    posters = ClipFile.objects.visible_to(user).filter(kind=ClipFile.Kind.POSTER)
    clips = Clip.objects.visible_to(user).select_related("station")
    comments = Comment.objects.visible_to(user).select_related("recording__clock_fit")
    return swims.select_related("entry__swimmer", "entry__clinic").prefetch_related(  # type: ignore[attr-defined]
        Prefetch("clips", clips, to_attr="seen_clips"),
        Prefetch("seen_clips__files", posters, to_attr="posters"),
        Prefetch("comments", comments, to_attr="seen_comments"),
    )


def stills_of(clips: Iterable[Clip]) -> list[Still]:
    """One still of each station: of its first pass."""
    stills: dict[uuid.UUID, Still] = {}
    for clip in sorted(clips, key=lambda clip: (clip.station.order, clip.pass_no)):
        for poster in clip.posters[:1]:  # type: ignore[attr-defined]
            stills.setdefault(clip.station_id, Still(poster.pk, clip.station.name))
    return list(stills.values())


def _card(swim: Swim, user: User, looked_at: dt.datetime | None) -> SwimCard:
    comments: list[Comment] = swim.seen_comments  # type: ignore[attr-defined]
    by_others = [comment for comment in comments if comment.author_id != user.pk]
    clips: list[Clip] = swim.seen_clips  # type: ignore[attr-defined]
    return SwimCard(
        swim=swim,
        stills=stills_of(clips),
        lane=lane_of(swim, clip_names(clips), comments),
        said=len(by_others),
        new=sum(looked_at is None or (c.sent_at or c.created_at) > looked_at for c in by_others),
    )


@require_safe
def my_swims(request: SignedInRequest) -> HttpResponse:
    user = request.user
    mine = Swim.objects.visible_to(user).filter(entry__swimmer__user=user)
    mine = mine.order_by("entry__swimmer__name", "-entry__clinic__date", "start_at")
    looked = dict(LastLooked.objects.filter(user=user).values_list("swim_id", "at"))
    by_name: dict[str, list[SwimCard]] = {}
    for swim in with_what_was_seen_and_said(mine, user):
        cards = by_name.setdefault(swim.entry.swimmer.name, [])
        cards.append(_card(swim, user, looked.get(swim.pk)))
    return render(request, "feedback/my_swims.html", {"by_name": by_name})
