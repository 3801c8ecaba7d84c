"""Indexing a take when it arrives: its frame table, its sound's envelope, a contact strip.

Nothing is turned into web video here: a swimmer needs two or three minutes of an hour.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import ffmpeg
import numpy as np
from numpy.typing import NDArray

from clinics.media.errors import Damaged, MediaError, TooLarge
from clinics.media.frames import frames_between, load_frame_table, load_key_frames, save_frame_table
from clinics.media.listing import Listing, list_frames
from clinics.media.pictures import as_jpeg, opened_at, scaled, shown_size, upright
from clinics.media.sandbox import Limits, output_token, run_tool
from clinics.media.sound import envelope_of
from clinics.media.source import Source, open_take
from clinics.media.take import Take
from clinics.media.ticks import TICKS_PER_S, Int64, pictures_of, to_ticks, usual_spacing

__all__ = [
    "ContactStrip",
    "TakeIndex",
    "frames_between",
    "index_take",
    "load_frame_table",
    "load_key_frames",
    "save_frame_table",
]

CONTACT_STILLS = 48
CONTACT_COLUMNS = 8
CONTACT_HEIGHT = 90
CUT_SHORT_S = 1.0
FRAMES_SHARE, SOUND_SHARE = 0.5, 0.3
"""Shares of the progress shown: frame table, sound; the rest is the contact strip."""

OnProgress = Callable[[float], None] | None
ShouldStop = Callable[[], bool] | None


@dataclass(frozen=True)
class ContactStrip:
    """Small stills of key frames in rows of ``columns``, and which picture each one is."""

    path: Path
    columns: int
    still_width: int
    still_height: int
    frames: tuple[int, ...]


@dataclass(frozen=True)
class TakeIndex:
    """What is known of a take after reading it once.

    ``frame_pts``: int64 [pictures], when each picture is shown, in ticks of 1/90000 s from the
    first one (media_s = ticks / 90000); of interlaced takes each field is a picture.
    ``key_frames``: indices of pictures that decode by themselves. ``envelope``: uint8, the sound's
    level per 10 ms from media_s = 0 on (see sound.py), None without sound. ``joins``: index of the
    first picture of the second and every later file. ``listed_by`` says how the table was found.
    ``notes`` are sentences for the person who brought the take in.
    """

    frame_pts: Int64
    key_frames: Int64
    duration_s: float
    envelope: NDArray[np.uint8] | None
    contact: ContactStrip | None
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
    with_contact: bool = True,
) -> TakeIndex:
    """Read a take once. The contact strip is written into ``work_dir`` as ``contact.jpg``.

    Raises Damaged if there is nothing to show, TooLarge, TimedOut, or Stopped.
    """
    limits = limits or Limits()
    if len(take.files) > limits.max_files:
        raise TooLarge(f"One recording in {len(take.files)} files: bring it in in parts.")
    source = open_take(take, work_dir=work_dir, limits=limits)
    indexer = _Indexer(source, work_dir, limits, on_progress, should_stop, require_sandbox)
    return indexer.run(with_contact)


class _Indexer:
    """The three passes over one take, with progress from 0 to 1 over all of them."""

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

    def run(self, with_contact: bool) -> TakeIndex:
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
        envelope = envelope_of(
            self.source,
            duration_s=duration_s,
            limits=self.limits,
            require_sandbox=self.require_sandbox,
            on_progress=self._part(FRAMES_SHARE, SOUND_SHARE),
            should_stop=self.should_stop,
        )
        contact = self._contact(frame_pts, key_frames) if with_contact else None
        self._part(1.0, 0.0)(0.0)
        return TakeIndex(
            frame_pts=frame_pts,
            key_frames=key_frames,
            duration_s=duration_s,
            envelope=envelope,
            contact=contact,
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

    def _contact(self, frame_pts: Int64, key_frames: Int64) -> ContactStrip | None:
        """Stills of key frames, evenly over the take; without key frames there is no strip."""
        if len(key_frames) == 0:
            return None
        count = min(CONTACT_STILLS, len(key_frames))
        chosen = key_frames[np.unique(np.linspace(0, len(key_frames) - 1, count).astype(int))]
        columns = min(CONTACT_COLUMNS, len(chosen))
        width, height = shown_size(self.source, CONTACT_HEIGHT)
        path = self.work_dir / "contact.jpg"
        if not self._draw_contact(chosen, frame_pts, columns, path):
            return None
        return ContactStrip(path, columns, width, height, tuple(int(n) for n in chosen))

    def _draw_contact(self, chosen: Int64, frame_pts: Int64, columns: int, path: Path) -> bool:
        """One pass over the key frames only. A strip that cannot be drawn is no reason to refuse
        a recording: then there is none."""
        opened = opened_at(self.source, None, self.limits, skip_frame="nokey")
        ticks = self.source.origin_ticks + frame_pts[chosen]
        wanted = "+".join(f"eq(pts,{int(at)})" for at in ticks)
        output = contact_output(opened, self.source, wanted, columns, len(chosen), path.name)
        result = run_tool(
            ["ffmpeg", "-nostdin", "-hide_banner", "-nostats", "-v", "error", "-y"]
            + ["-progress", "pipe:1", *ffmpeg.compile(output)[1:]],
            inputs=self.source.inputs,
            output_dir=self.work_dir,
            limits=self.limits,
            require_sandbox=self.require_sandbox,
            on_progress=lambda _: None,
            should_stop=self.should_stop,
        )
        return result.returncode == 0 and path.exists() and path.stat().st_size > 0


def contact_output(
    opened: object, source: Source, wanted: str, columns: int, count: int, name: str
) -> object:
    """The graph's end: chosen key frames, small, upright, in rows."""
    width, height = shown_size(source, CONTACT_HEIGHT)
    rows = math.ceil(count / columns)
    video = opened[str(source.video_index)]  # type: ignore[index]
    video = video.filter("settb", f"1/{TICKS_PER_S}").filter("select", wanted)
    video = scaled(upright(video, source), width, height)
    video = video.filter("tile", f"{columns}x{rows}")
    return ffmpeg.output(
        as_jpeg(video),
        output_token(name),
        format="image2",
        update=1,
        vcodec="mjpeg",
        fps_mode="passthrough",
        map_metadata=-1,
        fflags="+bitexact",
        **{"frames:v": 1, "q:v": 4, "flags:v": "+bitexact"},
    )
