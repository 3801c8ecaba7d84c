"""What a take-home page can show: the stills there are, asking for more, their bytes; and what is
proposed before a coach chooses."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from django.db import transaction
from django.db.models import QuerySet

from clinics.media.errors import MediaError
from clinics.media.images import open_image
from clinics.models import Clip, Swim
from feedback.actions.coached import coached_row
from feedback.actions.frames import FrameUnknown, frame_at
from feedback.actions.take_along import ask
from feedback.actions.take_home import keep_choice, swim_before
from feedback.compute.take_along import Kind, Spec, SpecWrong, spec_of
from feedback.compute.take_home import MOST_STILLS, Choice, proposal
from feedback.models import Drawing, TakeAlong

if TYPE_CHECKING:
    import datetime as dt

    from feedback.compute.measuring.measure import Measure
    from portal.models import User

PAPER_PX = 1100  # a third of a page's width at 400 dots per inch; a whole width at 150
Frame = tuple[Clip, int]


def stills_of(swim: Swim, user: User) -> QuerySet[TakeAlong]:
    """What a coach had made for the swimmer, or is having made: stills and rows of stills, oldest
    first; what could not be made is left out."""
    rows = TakeAlong.objects.for_page_of(user).filter(swim=swim)
    rows = rows.filter(kind__in=(TakeAlong.Kind.STILL, TakeAlong.Kind.ROW))
    rows = rows.exclude(state=TakeAlong.State.FAILED)
    return rows.select_related("stored").order_by("created_at")


def frames_drawn_on(swim: Swim, by: User) -> dict[Frame, dt.datetime]:
    """Frames on which something was drawn for the swimmer, in order of time, each with when the
    last of it was sent."""
    drawings = Drawing.objects.visible_to(by).filter(swim=swim).for_swimmer()
    clips = Clip.objects.visible_to(by).filter(swim=swim).select_related("station", "recording")
    by_recording: dict[object, list[Clip]] = {}
    for clip in clips.order_by("seen_from_s"):
        by_recording.setdefault(clip.recording_id, []).append(clip)
    found: dict[Frame, dt.datetime] = {}
    for drawing in drawings.order_by("recording", "pts_ticks", "sent_at"):
        for clip in by_recording.get(drawing.recording_id, ()):
            frame = frame_at(clip, drawing.pts_ticks)
            if frame is not None and drawing.sent_at is not None:
                found[clip, frame] = drawing.sent_at
                break
    ordered = sorted(found, key=lambda one: (one[0].seen_from_s, one[1]))
    return {one: found[one] for one in ordered}


def frames_without_still(swim: Swim, by: User) -> list[Frame]:
    """Of those: where no still shows all that was drawn."""
    made = {}
    for row in stills_of(swim, by):
        spec = _spec(row)
        if spec is not None and spec.kind is Kind.STILL and spec.drawings:
            made[spec.clips[0], spec.from_frame] = row.created_at
    return [
        (clip, frame)
        for (clip, frame), sent_at in frames_drawn_on(swim, by).items()
        if (str(clip.pk), frame) not in made or made[str(clip.pk), frame] < sent_at
    ]


def _spec(row: TakeAlong) -> Spec | None:
    try:
        return spec_of(row.spec)
    except SpecWrong:
        return None


@transaction.atomic
def ask_for_drawn(
    *, swim: Swim, by: User, names: Mapping[str, str], choice: Choice
) -> list[TakeAlong]:
    """A still for the swimmer of each frame that was drawn on and has none; they are put on the
    page after what is chosen, as many as fit. `names`: of the views, by the ids of their clips.
    Without the swimmer's name in the picture: it stands on the page. Raises TooManyWaiting, and
    then asks for none."""
    row = coached_row(swim, by)
    asked = []
    for clip, frame in frames_without_still(row, by):
        key = str(clip.pk)
        name = names.get(key, "")
        spec = Spec(Kind.STILL, (key,), (name,), frame, frame, drawings=True, named=False)
        try:
            asked.append(ask(swim=row, by=by, spec=spec, for_swimmer=True))
        except FrameUnknown:
            continue  # its list of frames is gone: there is nothing to make it from
    stills = dict.fromkeys((*choice.stills, *(str(one.pk) for one in asked)))
    keep_choice(swim=row, by=by, choice=replace(choice, stills=tuple(stills)[:MOST_STILLS]))
    return asked


def proposed(swim: Swim, by: User, measures: Sequence[Measure]) -> Choice:
    """What is on the page before anybody chose: key measures of the stroke, the first stills,
    and last time's swim."""
    entry = swim.entry
    before = swim_before(swim, by)
    keys = proposal(
        measures, stroke=entry.stroke, start=entry.start, course_m=entry.clinic.course_m
    )
    stills = tuple(str(pk) for pk in stills_of(swim, by).values_list("pk", flat=True))
    return Choice(keys, stills[:MOST_STILLS], str(before.pk) if before else "")


def for_paper(row: TakeAlong) -> bytes | None:
    """A still as JPEG, as large as paper shows it; None: its file cannot be read."""
    if row.stored is None:
        return None
    try:
        image = open_image(row.stored.local_path(), formats=("JPEG",)).convert("RGB")
    except (MediaError, OSError):
        return None
    image.thumbnail((PAPER_PX, PAPER_PX))
    out = io.BytesIO()
    image.save(out, "JPEG", quality=85)
    return out.getvalue()
