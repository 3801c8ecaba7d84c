"""Putting a clip's new files in place, together with its row, and the old ones away."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from django.utils import timezone

from clinics.actions.clip_files import remove_on_commit, stored_of
from clinics.actions.clip_source import areas_of
from clinics.actions.dropped import may_be_made
from clinics.actions.keeping import CLIPS
from clinics.compute.time import media_s_to_ticks
from clinics.media.frames import save_frame_table
from clinics.media.render import RenderedClip, RenderedFile
from clinics.models import Clip, ClipFile, ClipMask, StationMask
from portal.actions import files
from portal.actions.job_runs import published_with_job

if TYPE_CHECKING:
    from portal.models import Club, StoredFile

CONTENT_TYPES = {
    "video": "video/mp4",
    "sound": "audio/mp4",
    "poster": "image/jpeg",
    "strip": "image/jpeg",
}


@dataclass(frozen=True)
class Made:
    """A rendered clip, and what is covered in it."""

    clip: RenderedClip
    areas: list[StationMask | ClipMask]


def publish(clip: Clip, made: Made, folder: Path) -> None:
    """Files and row together, unless the clip was moved or taken away since, or another area is
    to be covered: whoever asked for that asked for the job again."""
    club = clip.recording.station.clinic.club
    with published_with_job():
        row = _as_it_was(clip)
        if row is None or row.state == Clip.State.READY or not may_be_made(row):
            return
        if areas_of(row) != made.areas:
            return
        old = stored_of(row.files.select_related("stored", "pts_table"))
        row.files.all().delete()
        _put_in(row, made.clip, club, folder)
        row.state, row.reason, row.rendered_at = Clip.State.READY, "", timezone.now()
        row.save(update_fields=["state", "reason", "rendered_at"])
        remove_on_commit(old, None)


def _as_it_was(clip: Clip) -> Clip | None:
    same = Clip.objects.select_for_update().filter(
        pk=clip.pk,
        recording_id=clip.recording_id,
        first_frame=clip.first_frame,
        frame_count=clip.frame_count,
    )
    return same.first()


def _put_in(clip: Clip, made: RenderedClip, club: Club, folder: Path) -> None:
    table = _publish_table(made, folder, club, clip)
    for file in made.files:
        known = {"sha256": file.sha256, "size_bytes": file.size_bytes}
        stored = _store(file.path, file.kind, CONTENT_TYPES[file.kind], club, clip, **known)
        is_video, is_sound = file.kind == ClipFile.Kind.VIDEO, file.kind == ClipFile.Kind.SOUND
        ClipFile.objects.create(
            clip=clip,
            kind=file.kind,
            height=file.height,
            width=file.width,
            stored=stored,
            pts_table=table if is_video else None,
            first_frame=clip.first_frame if is_video else None,
            starts_at_ticks=media_s_to_ticks(made.sound_offset_s or 0.0) if is_sound else 0,
        )


def _publish_table(made: RenderedClip, folder: Path, club: Club, clip: Clip) -> StoredFile:
    """Frame times and key frames: the same for every rendition, since one decode made all."""
    video: RenderedFile = made.of_kind("video")[0]
    assert video.frame_pts is not None
    path = folder / "pts.table"
    save_frame_table(path, video.frame_pts - video.frame_pts[0], video.key_frames)
    return _store(path, "pts-table", "application/octet-stream", club, clip)


def _store(
    path: Path, kind: str, content_type: str, club: Club, clip: Clip, **known: Any
) -> StoredFile:
    stored = files.publish(
        temporary=path,
        area="media",
        kind=kind,
        club=club,
        keeping_rule=CLIPS,
        content_type=content_type,
        suffix=path.suffix,
        **known,
    )
    if clip.delete_by is not None:  # the row that says whose it is comes after the file
        stored.delete_by = clip.delete_by
        stored.save(update_fields=["delete_by"])
    return stored
