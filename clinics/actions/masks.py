"""What is covered in pictures: always at a station, or in one clip from frame to frame.

Covering or uncovering takes the files at once out of sight; they are made again with the area
filled by one flat colour, and a checker passes them on anew. As long as the originals are there
an area can be uncovered. After that a clip is made from its own largest rendition, so what is
covered in it stays so.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING

from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.utils.translation import gettext as _

from clinics.actions.board.acts import lock_clip
from clinics.actions.check_rows import CheckRefused
from clinics.actions.clip_files import (
    OPEN_NOW_PRIORITY,
    RENDER_KIND,
    ask_to_render,
    is_held,
    take_files_away,
)
from clinics.actions.clip_source import largest_rendition, original_is_there
from clinics.models import Clinic, Clip, ClipFile, ClipMask, Entry, StationMask
from clinics.privacy import FILM_AND_REVIEW
from portal.actions.audit import record
from portal.actions.jobs import enqueue

if TYPE_CHECKING:
    from django.db.models import QuerySet

    from clinics.models import Station, Swimmer
    from portal.models import User

LEAST = 0.005  # of the picture's width or height
MOST_AREAS = 40


@dataclass(frozen=True)
class Area:
    """A rectangle in shares of the picture's width and height, from its upper left corner."""

    left: float
    top: float
    width: float
    height: float

    def refuse_outside(self) -> None:
        inside = self.left >= 0 and self.top >= 0
        inside = inside and self.left + self.width <= 1.0001 and self.top + self.height <= 1.0001
        if not inside:
            raise CheckRefused(_("The area must lie within the picture."))
        if min(self.width, self.height) < LEAST:
            raise CheckRefused(_("The area is too small to cover anything. Make it larger."))


# --- at a station ------------------------------------------------------------------------------


@transaction.atomic
def cover_station(*, station: Station, area: Area, by: User, note: str = "") -> StationMask:
    """From now on the area is covered in everything that is made from the station's recordings."""
    clinic = _lock_clinic(station, by)
    area.refuse_outside()
    if station.masks.count() >= MOST_AREAS:
        raise CheckRefused(_("So many areas are covered here already. Uncover one first."))
    mask = StationMask.objects.create(station=station, note=note, made_by=by, **asdict(area))
    count = _make_again(Clip.objects.filter(station=station), by)
    detail = {"mask": str(mask.pk), "clips": count}
    record(action="mask.cover-station", by=by, subject=station, club=clinic.club, detail=detail)
    return mask


@transaction.atomic
def uncover_station(*, mask: StationMask, by: User) -> int:
    """Clips whose originals are there are made again without the area; how many. Those of which
    only renditions are left stay as they are: there is nothing to make more from."""
    station = mask.station
    clinic = _lock_clinic(station, by)
    recordings = list(station.recordings.all())
    there = [recording for recording in recordings if original_is_there(recording)]
    if recordings and not there:
        raise CheckRefused(_stays_covered())
    detail: dict[str, object] = {"mask": str(mask.pk)}
    mask.delete()
    count = _make_again(Clip.objects.filter(recording__in=there), by)
    detail["clips"] = count
    record(action="mask.uncover-station", by=by, subject=station, club=clinic.club, detail=detail)
    return count


def _lock_clinic(station: Station, by: User) -> Clinic:
    """For the club's admins, who plan the stations, and the clinic's checkers."""
    rows = Clinic.objects.select_for_update(of=("self",)).select_related("club")
    clinic = rows.filter(pk=station.clinic_id).first()
    may = Clinic.objects.filter(pk=station.clinic_id)
    if clinic is None or not (may.run_by(by).exists() or may.checked_by(by).exists()):
        raise PermissionDenied("only an admin of the club or a checker of the clinic may do this")
    if clinic.state == Clinic.State.CLOSED:
        raise CheckRefused(_("This clinic is closed; its swims and clips stay as they are."))
    return clinic


# --- in one clip -------------------------------------------------------------------------------


@transaction.atomic
def cover_clip(
    *,
    clip: Clip,
    first_frame: int,
    last_frame: int,
    area: Area,
    by: User,
    covers: Swimmer | None = None,
) -> ClipMask:
    """The area is covered from one frame of the recording to another, both included. Several in
    sequence follow somebody who moves. `covers`: whom, so that they need not agree to be seen."""
    clinic, row = lock_clip(clip, by)
    area.refuse_outside()
    _refuse_frames(row, first_frame, last_frame)
    if row.masks.count() >= MOST_AREAS:
        raise CheckRefused(_("So many areas are covered here already. Uncover one first."))
    if covers is not None:
        _refuse_stranger(covers, row, clinic)
    mask = ClipMask.objects.create(
        clip=row,
        first_frame=first_frame,
        last_frame=last_frame,
        covers=covers,
        made_by=by,
        **asdict(area),
    )
    _make_again(Clip.objects.filter(pk=row.pk), by)
    whom = str(covers.pk) if covers else None
    detail = {"mask": str(mask.pk), "frames": [first_frame, last_frame], "covers": whom}
    record(action="mask.cover-clip", by=by, subject=row, club=clinic.club, detail=detail)
    return mask


@transaction.atomic
def uncover_clip(*, mask: ClipMask, by: User) -> None:
    clinic, row = lock_clip(mask.clip, by)
    if not original_is_there(row.recording):
        raise CheckRefused(_stays_covered())
    detail = {"mask": str(mask.pk)}
    mask.delete()
    _make_again(Clip.objects.filter(pk=row.pk), by)
    record(action="mask.uncover-clip", by=by, subject=row, club=clinic.club, detail=detail)


def _refuse_frames(clip: Clip, first: int, last: int) -> None:
    if last < first:
        raise CheckRefused(_("The last frame comes before the first. Give the first one first."))
    end = clip.first_frame + clip.frame_count - 1
    if first < clip.first_frame or last > end:
        told = _("This clip shows frames %(first)d to %(last)d: choose within it.")
        raise CheckRefused(told % {"first": clip.first_frame, "last": end})


def _refuse_stranger(covers: Swimmer, clip: Clip, clinic: Clinic) -> None:
    if covers.pk == clip.swim.entry.swimmer_id:
        raise CheckRefused(_("That is the swimmer's own clip. Choose who else is covered."))
    if not Entry.objects.filter(clinic=clinic, swimmer=covers).exists():
        raise PermissionDenied("somebody who is not of this clinic")


# --- what follows ------------------------------------------------------------------------------


def _stays_covered() -> str:
    return _("The originals are deleted, so what is covered stays covered.")


def _make_again(clips: QuerySet[Clip], by: User) -> int:
    """Hide the clips and take their files away at once, then ask for new ones; how many.

    What is held is hidden, too, and made again when somebody looks at it after the hold.
    """
    held = set(clips.filter(is_held()).values_list("pk", flat=True))
    rows = clips.select_for_update(of=("self",)).select_related("recording", "swim__entry")
    rows = rows.order_by("swim__start_at", "station__order", "pass_no")
    again = [clip for clip in rows if clip.pk not in held]
    for clip in again:
        _note_frames(clip)
        take_files_away(clip, but=_made_from(clip))
    clips.update(state=Clip.State.WAITING, reason="")
    if len(again) == 1:  # somebody waits for this one
        enqueue(kind=RENDER_KIND, subject=again[0], asked_by=by, priority=OPEN_NOW_PRIORITY)
    elif again:
        for place, clip in enumerate(again):
            ask_to_render(clip, place, by)
    return len(again)


def _note_frames(clip: Clip) -> None:
    """What a finished clip's files show is what the clip says."""
    if clip.state == Clip.State.READY:
        unknown = clip.files.filter(kind=ClipFile.Kind.VIDEO, first_frame__isnull=True)
        unknown.update(first_frame=clip.first_frame)


def _made_from(clip: Clip) -> list[ClipFile]:
    """The files that stand in for originals that are gone: nobody is shown them meanwhile. Of a
    swimmer who agrees no longer nothing is made just now, so they are kept, too."""
    agreed = clip.swim.entry.swimmer.consents.filter(purpose=FILM_AND_REVIEW, ended_at__isnull=True)
    if original_is_there(clip.recording) and agreed.exists():
        return []
    largest = largest_rendition(clip)
    sound = clip.files.filter(kind=ClipFile.Kind.SOUND).select_related("stored")
    return [largest, *sound] if largest is not None else []
