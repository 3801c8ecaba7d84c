"""Marks: an event of the swim on the frame that shows it first.

A mark of the start signal is kept beside the swim's own start and does not move it: swim time
stays what the start log and the soundtracks say, until somebody makes that mark the zero.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING

from django.db import transaction

from feedback.actions.frames import pts_ticks_of
from feedback.actions.measured import interval_ticks_at
from feedback.models import Mark
from portal.actions.audit import record

if TYPE_CHECKING:
    from clinics.models import Clip, Swim
    from portal.models import User


@dataclass(frozen=True)
class Placed:
    """What a mark may say besides its event and frame. `distance_m`: swum from the start until
    then, `distance_u_m` its standard uncertainty. `x`, `y`: where the body part is in the picture,
    in parts of its width and height. None: not said."""

    distance_m: float | None = None
    distance_u_m: float | None = None
    x: float | None = None
    y: float | None = None

    def said(self) -> dict[str, float]:
        return {name: value for name, value in asdict(self).items() if value is not None}


NOTHING_MORE = Placed()


@transaction.atomic
def place_mark(
    *, swim: Swim, by: User, clip: Clip, frame: int, kind: str, **said: float | None
) -> Mark:
    """The same event by the same person on the same frame stands once; asked for again, it
    changes only what is said of its distance and its place. `said`: see Placed. Raises
    FrameUnknown."""
    more = Placed(**said)
    pts_ticks = pts_ticks_of(clip, frame)
    interval = interval_ticks_at(clip.recording, pts_ticks)
    mark, new = Mark.objects.get_or_create(
        swim=swim,
        recording=clip.recording,
        pts_ticks=pts_ticks,
        kind=kind,
        placed_by=by,
        defaults={**more.said(), "interval_ticks": interval},
    )
    if new:
        _note("mark-placed", mark, by)
    elif changed := _changed(mark, more):
        for name, value in changed.items():
            setattr(mark, name, value)
        mark.save(update_fields=list(changed))
        _note("mark-changed", mark, by)
    return mark


def _changed(mark: Mark, more: Placed) -> dict[str, float | None]:
    """What is not said stays; the ± of another distance does not."""
    said: dict[str, float | None] = dict(more.said())
    if "distance_m" in said and said["distance_m"] != mark.distance_m:
        said.setdefault("distance_u_m", None)
    return {name: value for name, value in said.items() if getattr(mark, name) != value}


@dataclass(frozen=True)
class Row:
    """A mark to place: its event, the clip, the clip's frame, and what else it says."""

    kind: str
    clip: Clip
    frame: int
    more: Placed = NOTHING_MORE


@transaction.atomic
def place_marks(*, swim: Swim, by: User, rows: Sequence[Row]) -> int:
    """Many at once on a swim on which this person has none, with one record of it; how many.
    Raises FrameUnknown, and then places none."""
    marks = []
    for row in rows:
        pts_ticks = pts_ticks_of(row.clip, row.frame)
        interval = interval_ticks_at(row.clip.recording, pts_ticks)
        anchor = {"recording": row.clip.recording, "pts_ticks": pts_ticks}
        told = {"kind": row.kind, "interval_ticks": interval, **row.more.said()}
        marks.append(Mark(swim=swim, placed_by=by, **anchor, **told))
    placed = Mark.objects.bulk_create(marks)
    if placed:
        detail = {"swim": str(swim.pk), "count": len(placed)}
        club = swim.entry.clinic.club
        record(action="mark-placed", by=by, subject=placed[0], club=club, detail=detail)
    return len(placed)


@transaction.atomic
def take_mark_away(*, mark: Mark, by: User) -> None:
    """Done twice it is noted once."""
    _, gone = Mark.objects.filter(pk=mark.pk).delete()
    if gone:
        _note("mark-taken-away", mark, by)


def _note(action: str, mark: Mark, by: User) -> None:
    record(
        action=action,
        by=by,
        subject=mark,
        club=mark.swim.entry.clinic.club,
        detail={"swim": str(mark.swim_id), "kind": mark.kind},
    )
