"""What a clip is made from: its originals; and once they are gone, the largest rendition left.

From a rendition a clip can be made narrower and masked. Nothing comes back that it does not hold.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from django.conf import settings
from django.utils import timezone
from django.utils.translation import gettext as _

from clinics.actions.errors import BadInput
from clinics.actions.index import frames_of, limits, take_of
from clinics.media.frames import load_frame_table, load_key_frames
from clinics.media.masks import Mask
from clinics.media.probe import probe
from clinics.media.render_plan import RenditionSpec, default_renditions
from clinics.media.take import Take
from clinics.models import Clip, ClipFile, ClipMask, Recording, SourceFile, StationMask
from portal.models import StoredFile

if TYPE_CHECKING:
    from collections.abc import Iterable

    from clinics.media.ticks import Int64

AGAIN_CRF = 19
"""A rendition of a rendition: finer than the first, so that little more is lost."""


@dataclass(frozen=True)
class ClipSource:
    """A take, the times of its pictures, and which frame of the recording its first one is.

    `rendition`: the clip's own file that stands in for the originals; None: these are they.
    """

    take: Take
    frame_pts: Int64
    key_frames: Int64 | None
    first_frame: int
    rendition: ClipFile | None

    @property
    def sizes(self) -> list[RenditionSpec]:
        specs = default_renditions(self.take.height)
        if self.rendition is None:
            return specs
        return [replace(spec, crf=AGAIN_CRF) for spec in specs]

    def begins(self, clip: Clip) -> int:
        """Which picture of the source is the clip's first."""
        return clip.first_frame - self.first_frame

    def holds(self, clip: Clip) -> bool:
        begin = self.begins(clip)
        return begin >= 0 and begin + clip.frame_count <= len(self.frame_pts)

    def masks(self, areas: Iterable[StationMask | ClipMask]) -> list[Mask]:
        """The areas on the source's clock; those whose frames it does not hold are left out."""
        told = (self._mask(area) for area in areas)
        return [mask for mask in told if mask is not None]

    def _mask(self, area: StationMask | ClipMask) -> Mask | None:
        box = (area.left, area.top, area.width, area.height)
        if isinstance(area, StationMask):
            return Mask(*box)
        last = len(self.frame_pts) - 1
        begin, end = area.first_frame - self.first_frame, area.last_frame - self.first_frame
        if begin > last or end < 0:
            return None
        ticks = (int(self.frame_pts[min(max(frame, 0), last)]) for frame in (begin, end))
        return Mask(*box, *ticks)


def always_covered(recording: Recording) -> list[Mask]:
    """In every picture of the recording that anybody is shown."""
    rows = StationMask.objects.filter(station_id=recording.station_id)
    return [Mask(area.left, area.top, area.width, area.height) for area in rows]


def areas_of(clip: Clip) -> list[StationMask | ClipMask]:
    """All that is covered in the clip: always at its station, and in it alone."""
    always = StationMask.objects.filter(station_id=clip.station_id).order_by("made_at", "pk")
    return [*always, *ClipMask.objects.filter(clip=clip).order_by("first_frame", "pk")]


def original_is_there(recording: Recording) -> bool:
    """All its files are there and not yet due: what is due is used for nothing more."""
    files = SourceFile.objects.filter(recording=recording)
    there = files.filter(stored__state=StoredFile.State.READY)
    due = there.filter(stored__delete_by__lte=timezone.now()).exists()
    return not due and 0 < there.count() == files.count()


def is_all_there_is(clip: Clip) -> bool:
    """The originals are gone and there are renditions: what they show is all there will be."""
    return not original_is_there(clip.recording) and largest_rendition(clip) is not None


def source_of(clip: Clip) -> ClipSource:
    """Raises BadInput if there is nothing left to make the clip from."""
    recording = clip.recording
    if original_is_there(recording):
        table = recording.frame_table
        keys = load_key_frames(table.local_path()) if table else None
        return ClipSource(take_of(recording), frames_of(recording), keys, 0, None)
    largest = largest_rendition(clip)
    if largest is None:
        take_of(recording)  # says which file is gone
        raise _gone(_("The originals are deleted, and there is no clip left to make it from."))
    source = _from_rendition(largest)
    if not source.holds(clip):
        raise _gone(
            _(
                "The originals are deleted. A clip can only be made narrower now, or have more "
                "of it covered."
            )
        )
    return source


def largest_rendition(clip: Clip) -> ClipFile | None:
    """Of those of which it is known which frames they show."""
    videos = clip.files.filter(kind=ClipFile.Kind.VIDEO, stored__state=StoredFile.State.READY)
    known = videos.filter(pts_table__isnull=False, first_frame__isnull=False)
    return known.select_related("stored", "pts_table").order_by("-height").first()


def _from_rendition(file: ClipFile) -> ClipSource:
    assert file.pts_table is not None and file.first_frame is not None  # as largest_rendition asks
    path, table = file.stored.local_path(), file.pts_table.local_path()
    facts = probe(
        path,
        shown_name=f"{file.height}.mp4",
        limits=limits(),
        require_sandbox=settings.REQUIRE_SANDBOX,
    )
    take = Take(files=(path,), facts=(facts,))
    frames, keys = load_frame_table(table), load_key_frames(table)
    return ClipSource(take, frames, keys, file.first_frame, file)


def _gone(sentence: str) -> BadInput:
    return BadInput([("", sentence)])
