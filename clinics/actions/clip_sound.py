"""The sound of a clip that is made again from its own rendition: it has a file of its own."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from django.conf import settings

from clinics.actions.index import limits
from clinics.compute.time import ticks_to_media_s
from clinics.media.checksum import sha256_file
from clinics.media.render import RenderedClip, RenderedFile
from clinics.media.sound_span import cut_sound
from clinics.models import Clip, ClipFile
from portal.models import StoredFile

if TYPE_CHECKING:
    from pathlib import Path

    from clinics.actions.clip_source import ClipSource


def with_old_sound(
    made: RenderedClip, clip: Clip, source: ClipSource, out_dir: Path
) -> RenderedClip:
    """The rendered clip with as much of the old sound as its pictures last."""
    old = clip.files.filter(kind=ClipFile.Kind.SOUND, stored__state=StoredFile.State.READY).first()
    if old is None:
        return made
    begin = source.begins(clip)
    from_ticks = int(source.frame_pts[begin])
    starts_at = max(old.starts_at_ticks - from_ticks, 0)
    length = _end_ticks(source, begin + clip.frame_count) - from_ticks - starts_at
    if length <= 0:
        return made
    path = cut_sound(
        old.stored.local_path(),
        from_ticks=max(from_ticks - old.starts_at_ticks, 0),
        length_ticks=length,
        out_dir=out_dir,
        limits=limits(),
        require_sandbox=settings.REQUIRE_SANDBOX,
    )
    sound = RenderedFile("sound", path, path.stat().st_size, sha256_file(path))
    offset_s = ticks_to_media_s(starts_at)
    return replace(made, files=(*made.files, sound), sound_offset_s=offset_s)


def _end_ticks(source: ClipSource, following: int) -> int:
    """When the picture after the clip's last is shown, or would be."""
    pts = source.frame_pts
    if following < len(pts):
        return int(pts[following])
    usual = int(pts[-1] - pts[-2]) if len(pts) > 1 else 0
    return int(pts[-1]) + usual
