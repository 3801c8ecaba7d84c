"""Drawing on a picture of a swim; moving one's own, changing how long it stands, rubbing it out;
sending what was drafted.

As with words: what a coach draws for the swimmer is a draft until the swim's feedback is sent;
what a swimmer draws, and notes among coaches, go at once. A drawing that belongs to a note is
one.
"""

from __future__ import annotations

import hashlib
import json
import uuid
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.utils import timezone

from feedback.actions.frames import FrameUnknown, frame_at, pts_ticks_of
from feedback.compute.drawing import clean_points
from feedback.models import Comment, Drawing
from feedback.privacy import coaches, is_own
from portal.actions.audit import record
from portal.actions.ledger import note_withdrawn

if TYPE_CHECKING:
    from clinics.models import Clip, Swim
    from portal.models import User


@transaction.atomic
def draw(
    *,
    swim: Swim,
    by: User,
    clip: Clip,
    frame: int,
    until_frame: int | None = None,
    kind: str,
    points: Sequence[Sequence[float]],
    straight: bool = False,
    colour: str = Drawing.Colour.FLAG,
    width_px: int,
    height_px: int,
    comment: Comment | None = None,
    for_coaches: bool = False,
    key: uuid.UUID | None = None,
) -> Drawing:
    """On the clip's frame that was on screen, or from it until another frame of the clip. `key`
    is made where it is drawn: sent twice, it stands once.

    Raises PointsWrong, FrameUnknown; PermissionDenied for a note by somebody who does not coach
    the swim, and for a key that is taken.
    """
    told = _anchor(clip, frame, until_frame)
    told |= {"kind": kind, "straight": straight and kind == Drawing.Kind.TRACE, "colour": colour}
    told["points"] = _listed(clean_points(kind, points, straight, width_px, height_px))
    for_coaches = for_coaches or (comment is not None and comment.for_coaches)
    as_coach = not is_own(by, swim) and coaches(by, swim)
    if for_coaches and not as_coach:
        raise PermissionDenied("only a coach to whom the swim was passed on draws for coaches")
    told |= {"width_px": width_px, "height_px": height_px, "comment": comment}
    told |= {"swim": swim, "author": by, "for_coaches": for_coaches}
    told["sent_at"] = timezone.now() if for_coaches or not as_coach else None
    drawing, new = Drawing.objects.get_or_create(pk=key or uuid.uuid4(), defaults=told)
    if (drawing.author_id, drawing.swim_id) != (by.pk, swim.pk):
        raise PermissionDenied("this key is another drawing's")
    if new:
        _note("drawn" if drawing.sent_at else "drawn-draft", drawing, by)
    return drawing


def _anchor(clip: Clip, frame: int, until_frame: int | None) -> dict[str, Any]:
    if until_frame is not None and until_frame < frame:
        raise FrameUnknown("a span ends after it begins")
    alone = until_frame is None or until_frame == frame
    return {
        "recording": clip.recording,
        "pts_ticks": pts_ticks_of(clip, frame),
        "until_ticks": None if alone else pts_ticks_of(clip, until_frame or 0),
    }


def _listed(points: Sequence[Sequence[float]]) -> list[list[float]]:
    """To a millionth of the picture: less than a hundredth of a pixel of any."""
    return [[round(x, 6), round(y, 6)] for x, y in points]


@transaction.atomic
def move(*, drawing: Drawing, by: User, points: Sequence[Sequence[float]]) -> Drawing:
    """Other points for one's own drawing; it stays on its frame. Raises PointsWrong."""
    row = _own(drawing, by)
    if row is None:
        return drawing
    size = (row.width_px, row.height_px)
    moved = _listed(clean_points(row.kind, points, row.straight, *size))
    if moved != row.points:
        before = hashlib.sha256(json.dumps(row.points).encode()).hexdigest()
        row.points = moved
        row.save(update_fields=["points"])
        _note("drawing-moved", row, by, sha256_before=before)
    return row


@transaction.atomic
def stand(*, drawing: Drawing, by: User, clip: Clip, until_frame: int) -> Drawing:
    """Until another frame of a clip that shows it, for one's own drawing; it begins where it did.
    On its own frame: for that frame alone.

    Raises FrameUnknown: of another recording, none of the clip's frames, or before it begins.
    """
    row = _own(drawing, by)
    if row is None:
        return drawing
    if clip.recording_id != row.recording_id:
        raise FrameUnknown(f"clip {clip.pk} does not show drawing {row.pk}")
    until = pts_ticks_of(clip, until_frame)
    alone = frame_at(clip, row.pts_ticks) == until_frame
    if not alone and until <= row.pts_ticks:
        raise FrameUnknown("a span ends after it begins")
    before, row.until_ticks = row.until_ticks, None if alone else until
    if row.until_ticks != before:
        row.save(update_fields=["until_ticks"])
        _note("drawing-stands", row, by, until_ticks_before=before, until_ticks=row.until_ticks)
    return row


@transaction.atomic
def rub_out(*, drawing: Drawing, by: User) -> None:
    """One's own. Done twice it is noted once."""
    row = _own(drawing, by)
    if row is not None:
        _note("drawing-rubbed-out", row, by)
        note_withdrawn(Drawing._meta.label, row.pk, "")
        row.delete()


def _own(drawing: Drawing, by: User) -> Drawing | None:
    """The row, locked; None if it is gone or somebody else's."""
    rows = Drawing.objects.select_for_update(of=("self",)).filter(pk=drawing.pk, author=by)
    return rows.select_related("swim__entry__clinic__club").first()


def take_up(*, comment: Comment) -> int:
    """What its author drew on the comment's pictures and said nothing about yet belongs to it
    from now on; how many. Who calls notes the comment, in one transaction with this.

    Drafts become what the comment is. What the swimmer can see already does not become a note,
    nor a note something for the swimmer.
    """
    if comment.recording_id is None or comment.pts_ticks is None:
        return 0
    until = comment.until_ticks or comment.pts_ticks
    drawn = Drawing.objects.filter(
        swim=comment.swim_id, author=comment.author_id, comment__isnull=True
    ).filter(recording=comment.recording_id, pts_ticks__range=(comment.pts_ticks, until))
    alike = drawn.filter(sent_at__isnull=False, for_coaches=comment.for_coaches)
    count = alike.update(comment=comment)
    drafts = drawn.filter(sent_at__isnull=True)
    mine = {"for_coaches": comment.for_coaches, "sent_at": comment.sent_at}
    return count + drafts.update(comment=comment, **mine)


def send_with(*, comment: Comment) -> int:
    """The drafts that belong to a comment go when it goes by itself; how many."""
    drafts = Drawing.objects.filter(comment=comment, sent_at__isnull=True)
    return drafts.update(sent_at=comment.sent_at)


def send_drafts(*, swim: Swim, by: User) -> int:
    """Send what this coach drafted on the swim; how many went. Who calls notes it, in one
    transaction with this."""
    drafts = Drawing.objects.filter(swim=swim, author=by, sent_at__isnull=True, for_coaches=False)
    return drafts.update(sent_at=timezone.now())


def _note(action: str, drawing: Drawing, by: User, **detail: Any) -> None:
    record(
        action=action,
        by=by,
        subject=drawing,
        club=drawing.swim.entry.clinic.club,
        detail={"swim": str(drawing.swim_id), "kind": drawing.kind, **detail},
    )
