"""Indexing a take when it arrives: its frame table and its sound, which is all that aligning needs.

No picture is decoded but for a check of the table, and nothing is turned into web video: a swimmer
needs two or three minutes of an hour. What the pictures show is looked at later (look.py).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from clinics.media.errors import Damaged, MediaError, TooLarge
from clinics.media.frames import frames_between, load_frame_table, load_key_frames, save_frame_table
from clinics.media.listing import Listing, list_frames
from clinics.media.sandbox import Limits
from clinics.media.sound import sound_of
from clinics.media.source import Source, open_take
from clinics.media.take import Take
from clinics.media.ticks import TICKS_PER_S, Int64, pictures_of, to_ticks, usual_spacing

__all__ = [
    "TakeIndex",
    "frames_between",
    "index_take",
    "load_frame_table",
    "load_key_frames",
    "save_frame_table",
]

CUT_SHORT_S = 1.0
FRAMES_SHARE, SOUND_SHARE = 0.6, 0.4
"""Shares of the progress shown: frame table, sound."""
SOUND_TRACK_NAME = "sound.s16"

OnProgress = Callable[[float], None] | None
ShouldStop = Callable[[], bool] | None


@dataclass(frozen=True)
class TakeIndex:
    """What is known of a take after reading it once.

    ``frame_pts``: int64 [pictures], when each picture is shown, in ticks of 1/90000 s from the
    first one (media_s = ticks / 90000); of interlaced takes each field is a picture.
    ``key_frames``: indices of pictures that decode by themselves. ``envelope``: uint8, the sound's
    level per 10 ms from media_s = 0 on; ``sound_track``: the file with the sound itself at 8 kHz
    (see sound.py); both None without sound. ``joins``: index of the first picture of the second and
    every later file. ``listed_by`` says how the table was found. ``notes`` are sentences
    for the person who brought the take in.
    """

    frame_pts: Int64
    key_frames: Int64
    duration_s: float
    envelope: NDArray[np.uint8] | None
    sound_track: Path | None
    joins: tuple[int, ...]
    listed_by: str
    notes: tuple[str, ...] = field(default=())

    @property
    def picture_fps(self) -> float:
        """Average number of pictures shown in a second."""
        return len(self.frame_pts) / self.duration_s


def index_take(
    take: Take,
    *,
    work_dir: Path,
    limits: Limits | None = None,
    on_progress: OnProgress = None,
    should_stop: ShouldStop = None,
    require_sandbox: bool = False,
) -> TakeIndex:
    """Read a take once. The sound track is written into ``work_dir`` as ``sound.s16``.

    Raises Damaged if there is nothing to show, TooLarge, TimedOut, or Stopped.
    """
    limits = limits or Limits()
    if len(take.files) > limits.max_files:
        raise TooLarge(f"One recording in {len(take.files)} files: bring it in in parts.")
    source = open_take(take, work_dir=work_dir, limits=limits)
    indexer = _Indexer(source, work_dir, limits, on_progress, should_stop, require_sandbox)
    return indexer.run()


class _Indexer:
    """The two passes over one take, with progress from 0 to 1 over all of them."""

    def __init__(
        self,
        source: Source,
        work_dir: Path,
        limits: Limits,
        on_progress: OnProgress,
        should_stop: ShouldStop,
        require_sandbox: bool,
    ) -> None:
        self.source = source
        self.take = source.take
        self.work_dir = work_dir
        self.limits = limits
        self.on_progress = on_progress
        self.should_stop = should_stop
        self.require_sandbox = require_sandbox
        self.reached = 0.0

    def run(self) -> TakeIndex:
        listing = list_frames(
            self.source,
            limits=self.limits,
            require_sandbox=self.require_sandbox,
            on_progress=self._part(0.0, FRAMES_SHARE),
            should_stop=self.should_stop,
        )
        frame_pts = self._table(listing)
        key_frames = self._key_frames(listing, frame_pts)
        duration_s = (int(frame_pts[-1]) + usual_spacing(frame_pts)) / TICKS_PER_S
        track = self.work_dir / SOUND_TRACK_NAME
        envelope = sound_of(
            self.source,
            track,
            duration_s=duration_s,
            limits=self.limits,
            require_sandbox=self.require_sandbox,
            on_progress=self._part(FRAMES_SHARE, SOUND_SHARE),
            should_stop=self.should_stop,
        )
        self._part(1.0, 0.0)(0.0)
        return TakeIndex(
            frame_pts=frame_pts,
            key_frames=key_frames,
            duration_s=duration_s,
            envelope=envelope,
            sound_track=track if envelope is not None else None,
            joins=self._joins(frame_pts),
            listed_by=listing.how,
            notes=self._notes(duration_s),
        )

    def _part(self, begins: float, share: float) -> Callable[[float], None]:
        def report(done: float) -> None:
            # Pictures are stored out of order: what was reached before counts.
            self.reached = max(self.reached, min(begins + share * done, 1.0))
            if self.on_progress is not None:
                self.on_progress(self.reached)

        return report

    def _table(self, listing: Listing) -> Int64:
        """Pictures from the first shown one on; the renderer's zero must be the same picture."""
        pictures = pictures_of(
            listing.pts, self.source.time_base, interlaced=self.take.is_interlaced
        )
        if int(pictures[0]) != self.source.origin_ticks:
            raise MediaError(
                f"{self.take.shown_name}: its first picture is not where probing found it. "
                "Bring the file in again.",
                reason_code="origin-differs",
            )
        table = pictures - pictures[0]
        if len(table) < 2 or np.any(np.diff(table) <= 0):
            raise Damaged(
                f"{self.take.shown_name}: its pictures have no usable times. "
                "Copy it from the card again."
            )
        return table

    def _key_frames(self, listing: Listing, frame_pts: Int64) -> Int64:
        ticks = to_ticks(listing.key_pts, self.source.time_base) - self.source.origin_ticks
        at = np.searchsorted(frame_pts, ticks)
        known = (at < len(frame_pts)) & (frame_pts[np.minimum(at, len(frame_pts) - 1)] == ticks)
        return at[known].astype(np.int64)

    def _joins(self, frame_pts: Int64) -> tuple[int, ...]:
        joins = []
        for ticks in self.source.join_ticks():
            # A join's time is a container's word, good to about half a frame.
            near = ticks - self.source.origin_ticks - usual_spacing(frame_pts) // 2
            joins.append(int(np.searchsorted(frame_pts, near)))
        return tuple(joins)

    def _notes(self, duration_s: float) -> tuple[str, ...]:
        said_s = self.take.duration_s
        if said_s - duration_s > max(CUT_SHORT_S, 0.02 * said_s):
            return (
                f"{self.take.shown_last_name} says it lasts {said_s:.0f} s but its pictures end "
                f"after {duration_s:.0f} s: the copy may be cut short. Compare with the card.",
            )
        return ()
