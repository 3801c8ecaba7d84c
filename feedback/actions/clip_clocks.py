"""A clip's own video, the times of its frames, and how sure they are."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING
from uuid import UUID

from clinics.compute.sureness import HowSure, how_sure, together_ms
from clinics.compute.time import TICKS_PER_S, seconds_between
from clinics.media.decode import Video
from clinics.media.errors import MediaError
from clinics.media.frames import load_frame_table, load_key_frames
from clinics.models import Clip, ClipFile
from feedback.actions.frames import FrameUnknown, pts_ticks_of
from feedback.compute.take_along import ClipClock, Int64
from portal.models import StoredFile

if TYPE_CHECKING:
    from clinics.models import ClockFit
    from portal.models import User


@dataclass(frozen=True, eq=False)
class ClipFilm:
    """The largest video that the user may see of a clip, and its clock."""

    clip: Clip
    file: ClipFile
    clock: ClipClock
    sure: HowSure

    @property
    def size(self) -> tuple[int, int]:
        height = self.file.height or 0
        return self.file.width or round(height * 16 / 9), height

    @property
    def knows_time(self) -> bool:
        """Its recording's clock is fitted."""
        return _fit(self.clip) is not None

    def video(self, name: str) -> Video:
        assert self.file.pts_table is not None
        _ticks, keys = _tables(self.file.pts_table_id, self.file.pts_table)
        path = self.file.stored.local_path()
        return Video(path, name, self.clock.ticks, keys if len(keys) else None)


def film_of(clip: Clip, user: User) -> ClipFilm:
    """Raises FrameUnknown where it has no video that the user may see, or no list of frames."""
    files = ClipFile.objects.visible_to(user).filter(clip=clip, kind=ClipFile.Kind.VIDEO)
    file = files.select_related("stored", "pts_table").order_by("-height").first()
    if file is None or file.pts_table is None:
        raise FrameUnknown(f"clip {clip.pk} has no video with a list of frames")
    try:
        ticks, _keys = _tables(file.pts_table_id, file.pts_table)
    except (OSError, MediaError) as gone:
        raise FrameUnknown(f"clip {clip.pk} has lost its list of frames") from gone
    first_ticks = pts_ticks_of(clip, 0)
    fit = _fit(clip)
    rate = 1.0 + fit.rate_ppm * 1e-6 if fit else 1.0
    expected_s = clip.seen_from_s - first_ticks / TICKS_PER_S * rate
    zero_at = fit.zero_at if fit else None
    zero_s = expected_s if zero_at is None else seconds_between(clip.swim.start_at, zero_at)
    return ClipFilm(clip, file, ClipClock(zero_s, rate, first_ticks, ticks), _sure(clip, fit))


def _fit(clip: Clip) -> ClockFit | None:
    fit: ClockFit | None = getattr(clip.recording, "clock_fit", None)
    return fit if fit is not None and fit.zero_at is not None else None


def _sure(clip: Clip, fit: ClockFit | None) -> HowSure:
    u_ms = together_ms(fit.u_ms or 0.0, clip.swim.start_u_ms) if fit else None
    frame_ms = 1000.0 * (clip.out_ticks - clip.in_ticks) / TICKS_PER_S / clip.frame_count
    return how_sure(state=fit.state if fit else "not-found", u_ms=u_ms, frame_ms=frame_ms)


def _tables(key: UUID | None, stored: StoredFile) -> tuple[Int64, Int64]:
    """Frame times and key frames; read once per process, since a new table has a new id."""
    return _read(key, str(stored.local_path()))


@lru_cache(maxsize=32)
def _read(_key: UUID, path_text: str) -> tuple[Int64, Int64]:
    path = Path(path_text)
    return load_frame_table(path), load_key_frames(path)
