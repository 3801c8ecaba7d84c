"""The page of one swim: its views, its lane strip, what was said, and the words to say more."""

from __future__ import annotations

import datetime as dt
import uuid
from dataclasses import dataclass, field
from typing import Any

from django.db.models import Prefetch
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from clinics.compute.sureness import Sureness, how_sure, together_ms
from clinics.compute.time import TICKS_PER_S, seconds_between
from clinics.models import Clip, ClipFile, ClockFit, Swim
from clinics.views.words import sure_words
from feedback.actions.frames import frame_at, pts_ticks_of, ticks_of
from feedback.actions.look import look
from feedback.forms import SayForm
from feedback.models import Comment
from feedback.models.queue import waiting_for
from feedback.privacy import coaches, is_own
from feedback.views.on_strip import clip_names, comment_swim_s, lane_of, swim_s_at
from portal.models import User
from portal.requests import SignedInRequest


@dataclass(frozen=True)
class StationView:
    """A clip as the page shows it. `zero_s` is swim_s at media_s = 0 of its recording."""

    clip: Clip
    name: str
    poster: ClipFile | None
    videos: list[ClipFile]  # small to large
    first_ticks: int
    zero_s: float
    rate: float
    fit: ClockFit | None
    u_ms: float | None
    sure: str
    sure_class: str
    chosen: bool = False
    opens_at_s: float = 0.0  # media time of the rendition at which a plain player opens

    @property
    def key(self) -> str:
        return str(self.clip.pk)

    def for_script(self) -> dict[str, Any]:
        return {
            "key": self.key,
            "name": self.name,
            "renditions": [
                {
                    "height": video.height,
                    "url": reverse("clinics:clip-file", args=[video.pk]),
                    "frames": reverse("clinics:clip-file-frames", args=[video.pk]),
                }
                for video in self.videos
            ],
            "zero_s": self.zero_s,
            "rate": self.rate,
            "first_ticks": self.first_ticks,
            "seen_from_s": self.clip.seen_from_s,
            "seen_to_s": self.clip.seen_to_s,
            "sure": self.sure,
        }


@dataclass(frozen=True)
class Said:
    """A comment as the page shows it. `view` and `frame` are where a tap leads."""

    comment: Comment
    at_s: float | None
    view: StationView | None
    frame: int | None
    new: bool
    mine: bool
    replies: list[Said] = field(default_factory=list)


SURE_CLASS = {Sureness.LOOK: "look", Sureness.NOT_FOUND: "unknown"}


def _view(swim: Swim, clip: Clip, name: str) -> StationView:
    fit: ClockFit | None = getattr(clip.recording, "clock_fit", None)
    zero_at = fit.zero_at if fit is not None else None
    found = fit if zero_at is not None else None
    ticks = ticks_of(clip.recording)
    first_ticks = clip.in_ticks if ticks is None else pts_ticks_of(clip, 0)
    rate = 1.0 + found.rate_ppm * 1e-6 if found else 1.0
    expected = clip.seen_from_s - first_ticks / TICKS_PER_S * rate
    u_ms = together_ms(found.u_ms or 0.0, swim.start_u_ms) if found else None
    frame_ms = 1000.0 * (clip.out_ticks - clip.in_ticks) / TICKS_PER_S / clip.frame_count
    sure = how_sure(state=found.state if found else "not-found", u_ms=u_ms, frame_ms=frame_ms)
    files = list(clip.files.all())
    videos = [file for file in files if file.kind == ClipFile.Kind.VIDEO]
    return StationView(
        clip=clip,
        name=name,
        poster=next((file for file in files if file.kind == ClipFile.Kind.POSTER), None),
        videos=sorted(videos, key=lambda video: video.height or 0),
        first_ticks=first_ticks,
        zero_s=expected if zero_at is None else seconds_between(swim.start_at, zero_at),
        rate=rate,
        fit=found,
        u_ms=u_ms,
        sure=sure_words(sure),
        sure_class=SURE_CLASS.get(sure.kind, ""),
    )


def views_of(swim: Swim, user: User) -> list[StationView]:
    """The swim's views in order of time. Only what the fence lets through."""
    files = ClipFile.objects.visible_to(user).select_related("stored")
    clips = Clip.objects.visible_to(user).filter(swim=swim)
    clips = clips.select_related("station", "recording__clock_fit")
    names = clip_names(clips.prefetch_related(Prefetch("files", files)))
    return [_view(swim, clip, name) for clip, name in names.items()]


def said_about(
    swim: Swim, user: User, views: list[StationView], looked_at: dt.datetime | None
) -> list[Said]:
    """Comments in order of swim time, those about the whole swim last; replies beneath."""
    comments = Comment.objects.visible_to(user).filter(swim=swim)
    told = [
        _said(swim, user, comment, views, looked_at)
        for comment in comments.select_related("author", "recording__clock_fit")
    ]
    by_id = {said.comment.pk: said for said in told}
    roots: list[Said] = []
    for said in told:
        parent = by_id.get(said.comment.reply_to_id)  # type: ignore[arg-type]
        (parent.replies if parent else roots).append(said)
    return sorted(roots, key=lambda said: (said.at_s is None, said.at_s or 0.0))


def _said(
    swim: Swim,
    user: User,
    comment: Comment,
    views: list[StationView],
    looked_at: dt.datetime | None,
) -> Said:
    view, frame = _where(comment, views)
    mine = comment.author_id == user.pk
    sent_at = comment.sent_at or comment.created_at
    return Said(
        comment=comment,
        at_s=comment_swim_s(swim, comment),
        view=view,
        frame=frame,
        new=not mine and (looked_at is None or sent_at > looked_at),
        mine=mine,
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


@dataclass(frozen=True)
class Opening:
    """Which frame of which view is on screen when the page opens."""

    view: StationView
    frame: int
    media_s: float
    at_s: float | None
    asked: bool  # by the address (`?view=…&at=…`), not by default


def opening(swim: Swim, views: list[StationView], asked: Any) -> Opening | None:
    """The frame that the address asks for; else the first frame of the first view.

    What makes no sense in an address opens the page as if it were not there.
    """
    wanted = [view for view in views if view.key == asked.get("view")]
    if not views:
        return None
    view = (wanted or views)[0]
    frame, by_address = _asked_frame(view.clip, asked.get("at", "")) if wanted else (0, False)
    ticks = ticks_of(view.clip.recording)
    if ticks is None:
        return Opening(view, frame, 0.0, None, False)
    first = view.clip.first_frame
    here = int(ticks[first + frame])
    after = int(ticks[min(first + frame + 1, len(ticks) - 1)])
    media_s = ((here + max(after, here + 2)) / 2 - view.first_ticks) / TICKS_PER_S
    at_s = swim_s_at(swim, view.clip.recording, here)
    return Opening(view, frame, media_s, at_s, by_address)


def _asked_frame(clip: Clip, text: str) -> tuple[int, bool]:
    if text.isascii() and text.isdigit() and len(text) < 9 and int(text) < clip.frame_count:
        return int(text), True
    return 0, False


@dataclass(frozen=True)
class InQueue:
    """Where the swim stands in the coach's queue."""

    number: int
    of: int
    previous: uuid.UUID | None
    next: uuid.UUID | None


def in_queue(swim: Swim, user: User) -> InQueue | None:
    ids = list(waiting_for(user).values_list("pk", flat=True))
    if swim.pk not in ids:
        return None
    at = ids.index(swim.pk)
    return InQueue(
        number=at + 1,
        of=len(ids),
        previous=ids[at - 1] if at else None,
        next=ids[at + 1] if at + 1 < len(ids) else None,
    )


def page_of(
    request: SignedInRequest, swim: Swim, looked_at: dt.datetime | None, form: SayForm | None = None
) -> dict[str, Any]:
    """All that the page and its column of comments show."""
    user = request.user
    views = views_of(swim, user)
    said = said_about(swim, user, views, looked_at)
    opened = opening(swim, views, request.GET)
    coaching = coaches(user, swim)
    comments = [item.comment for item in said]
    first = {"clip": opened.view.key, "frame": opened.frame} if opened and opened.asked else {}
    return {
        "swim": swim,
        "entry": swim.entry,
        "clinic": swim.entry.clinic,
        "views": views,
        "opening": opened,
        "said": said,
        "lane": lane_of(
            swim,
            {view.clip: view.name for view in views},
            comments,
            now_s=opened.at_s if opened else None,
        ),
        "form": form or SayForm(swim=swim, user=user, initial=first),
        "coaching": coaching,
        "own": is_own(user, swim),
        "queue": in_queue(swim, user) if coaching else None,
        "for_script": {
            "views": [view.for_script() for view in views],
            "opening": {"view": opened.view.key, "frame": opened.frame} if opened else None,
        },
    }


def swim_for(request: SignedInRequest, pk: uuid.UUID) -> Swim:
    """Hidden and absent alike: 404."""
    swims = Swim.objects.visible_to(request.user)
    rows = swims.select_related("entry__swimmer", "entry__clinic__club", "given_by")
    return get_object_or_404(rows, pk=pk)


@require_safe
def swim(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    shown = swim_for(request, pk)
    looked_at = look(swim=shown, user=request.user)
    return render(request, "feedback/swim.html", page_of(request, shown, looked_at))
