"""What a swimmer takes along of what was said, drawn, given and marked on their swims, and the
words said over each film. Through the fence: what they read on their pages, no more."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from clinics.actions.export import clip_name, folder_of, own_clips, own_swims
from clinics.compute.time import TICKS_PER_S, iso_utc
from clinics.models import Swim
from feedback.actions.captions import captions_of, comment_swim_s
from feedback.actions.export_body import put_body
from feedback.actions.frames import swim_s_at
from feedback.actions.measured import measured_many
from feedback.actions.measured_rows import FIELDS, rows_of
from feedback.compute.take_home import choice_of
from feedback.models import Comment, Drawing, FeedbackSent, LengthStrokes, Mark, TakeAlong, TakeHome
from portal.actions.export import Pack
from portal.models import User
from portal.registry import PersonStep


def _by(author: User | None, pack: Pack) -> str:
    """Who said it: the coach's name is theirs to know, it stands on the page too."""
    return "you" if author == pack.user else str(author or "")


def _media_s(ticks: int | None) -> float | None:
    return None if ticks is None else round(ticks / TICKS_PER_S, 4)


def put_comments(pack: Pack) -> None:
    header = ("swim", "said_at", "by", "at_swim_s", "until_media_s", "phase", "text")
    seen = Comment.objects.visible_to(pack.user).filter(taken_back_at__isnull=True)
    seen = seen.select_related("author", "recording__clock_fit")
    pack.table(
        "comments",
        header,
        (
            (
                folder_of(swim),
                iso_utc(c.sent_at or c.created_at),
                _by(c.author, pack),
                comment_swim_s(swim, c),
                _media_s(c.until_ticks),
                c.phase,
                c.text,
            )
            for swim in own_swims(pack)
            for c in seen.filter(swim=swim).order_by("created_at")
        ),
    )


def put_drawings(pack: Pack) -> None:
    header = ("swim", "drawn_at", "by", "kind", "at_media_s", "points")
    seen = Drawing.objects.visible_to(pack.user).select_related("author")
    pack.table(
        "drawings",
        header,
        (
            (
                folder_of(swim),
                iso_utc(d.sent_at or d.created_at),
                _by(d.author, pack),
                d.kind,
                _media_s(d.pts_ticks),
                d.points,
            )
            for swim in own_swims(pack)
            for d in seen.filter(swim=swim).order_by("created_at")
        ),
    )


def put_feedback(pack: Pack) -> None:
    header = ("swim", "sent_at", "by", "one_thing", "points")
    seen = FeedbackSent.objects.visible_to(pack.user).select_related("sent_by")
    pack.table(
        "feedback",
        header,
        (
            (
                folder_of(swim),
                iso_utc(f.sent_at),
                _by(f.sent_by, pack),
                f.one_thing,
                " | ".join(f.points),
            )
            for swim in own_swims(pack)
            for f in seen.filter(swim=swim).order_by("sent_at")
        ),
    )


def put_marks(pack: Pack) -> None:
    """The marks with their times, and the strokes of a medley's lengths; `measures` are worked out
    from these."""
    places = ("distance_m", "distance_u_m", "x", "y")
    header = ("swim", "event", *places, "at_swim_s", "u_ms", "placed_at", "by")
    pack.table("marks", header, (row for swim in own_swims(pack) for row in _marks(pack, swim)))
    said = LengthStrokes.objects.filter(swim__in=own_swims(pack)).select_related(
        "swim__entry__clinic"
    )
    strokes = (
        (folder_of(row.swim), number, stroke)
        for row in said
        for number, stroke in enumerate(row.strokes, start=1)
    )
    pack.table("length-strokes", ("swim", "length", "stroke"), strokes)


def _marks(pack: Pack, swim: Swim) -> Iterable[tuple[Any, ...]]:
    seen = Mark.objects.visible_to(pack.user).filter(swim=swim)
    for mark in seen.select_related("placed_by", "recording__clock_fit").order_by("placed_at"):
        at_s = swim_s_at(swim, mark.recording, mark.pts_ticks)
        fit = getattr(mark.recording, "clock_fit", None)
        yield (
            *(folder_of(swim), mark.kind),
            *(mark.distance_m, mark.distance_u_m, mark.x, mark.y),
            *(None if at_s is None else round(at_s, 4), fit.u_ms if fit else None),
            *(iso_utc(mark.placed_at), _by(mark.placed_by, pack)),
        )


def put_measures(pack: Pack) -> None:
    """What the page of each swim tells from its marks, with ±, by the keys of the definitions."""
    swims = list(own_swims(pack).select_related("entry__clinic__club"))
    found = measured_many(swims, Mark.objects.visible_to(pack.user))
    pack.table(
        "measures",
        ("swim", *FIELDS),
        ((folder_of(swim), *row.values()) for swim in swims for row in rows_of(found[swim.pk])),
    )


def put_take_home(pack: Pack) -> None:
    """What was on each page that was given; its words stand in `feedback`, its figures in
    `measures`."""
    header = ("swim", "given_at", "by", "one_thing", "points", "measures", "stills", "against")
    seen = TakeHome.objects.visible_to(pack.user).filter(given_at__isnull=False)
    pages = {page.swim_id: page for page in seen.select_related("given_by", "sent")}
    swims = list(own_swims(pack))
    folders = {str(swim.pk): folder_of(swim) for swim in swims}
    rows = ((swim, pages[swim.pk]) for swim in swims if swim.pk in pages)
    pack.table("take-home", header, (_page(pack, folders, *one) for one in rows))


def _page(pack: Pack, folders: dict[str, str], swim: Swim, page: TakeHome) -> tuple[Any, ...]:
    choice, sent = choice_of(page.given), page.sent
    return (
        *(folder_of(swim), iso_utc(page.given_at), _by(page.given_by, pack)),
        *((sent.one_thing, " | ".join(sent.points)) if sent else ("", "")),
        *(" | ".join(choice.measures), len(choice.stills), folders.get(choice.before, "")),
    )


def put_captions(pack: Pack) -> None:
    """Beside each film, with its name, so that a player finds it."""
    for clip in own_clips(pack).filter(pk__in=pack.clips):
        pack.text(f"{clip_name(clip)}.vtt", captions_of(clip, clip.swim, pack.user))


def put_take_along(pack: Pack) -> None:
    rows = TakeAlong.objects.visible_to(pack.user).filter(swim__entry__swimmer=pack.person.id)
    ready = rows.filter(state=TakeAlong.State.READY, stored__state="ready")
    shown = ready.select_related("stored", "swim__entry__clinic").order_by("created_at")
    for number, row in enumerate(shown, start=1):
        assert row.stored is not None
        suffix = row.stored.local_path().suffix
        pack.clips += [str(pk) for pk in row.clips.values_list("pk", flat=True)]
        pack.file(f"{folder_of(row.swim)}/{row.kind}-{number}{suffix}", row.stored)


STEPS = (
    PersonStep(name="comments", order=40, run=put_comments),
    PersonStep(name="drawings", order=50, run=put_drawings),
    PersonStep(name="feedback", order=60, run=put_feedback),
    PersonStep(name="marks", order=70, run=put_marks),
    PersonStep(name="measures", order=75, run=put_measures),
    PersonStep(name="body", order=76, run=put_body),
    PersonStep(name="take-home", order=78, run=put_take_home),
    PersonStep(name="captions", order=80, run=put_captions),
    PersonStep(name="take-along", order=90, run=put_take_along),
)
