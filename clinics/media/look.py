"""Looking through a take: its key frames, each decoded once for all that wants to see them.

From one pass come the contact strip and, small and grey, every key frame for the readers: what
moves, a slate. Key frames alone cost about a third of decoding every picture.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

import ffmpeg
import numpy as np
from numpy.typing import NDArray

from clinics.media.pictures import RISING, as_jpeg, opened_at, scaled, shown_size, upright
from clinics.media.sandbox import Limits, output_token, run_tool
from clinics.media.source import Source, open_take
from clinics.media.take import Take
from clinics.media.ticks import TICKS_PER_S, Int64

CONTACT_STILLS = 48
CONTACT_COLUMNS = 8
CONTACT_HEIGHT = 90
CONTACT_NAME = "contact.jpg"
TIMES_NAME = "key-frames.times"
LUMA_HEIGHT = 540
"""One field of 1080 lines: a code that fills a sixth of the picture is still read."""
LEAST_APART_S = 0.2
"""Where every picture is a key frame (motion JPEG), this many are enough."""

Luma = NDArray[np.uint8]
OnProgress = Callable[[float], None] | None
ShouldStop = Callable[[], bool] | None


class KeyFrameReader(Protocol):
    """Whoever wants to see each key frame, in the order shown."""

    def look(self, luma: Luma, frame_number: int) -> None:
        """``luma``: uint8 [h, w], upright, 0 black; ``frame_number``: its place in the table."""


@dataclass(frozen=True)
class ContactStrip:
    """Small stills of key frames in rows of ``columns``, and which picture each one is."""

    path: Path
    columns: int
    still_width: int
    still_height: int
    frames: tuple[int, ...]


def look_through(
    take: Take,
    frame_pts: Int64,
    key_frames: Int64,
    *,
    work_dir: Path,
    readers: Sequence[KeyFrameReader] = (),
    limits: Limits | None = None,
    on_progress: OnProgress = None,
    should_stop: ShouldStop = None,
    require_sandbox: bool = False,
) -> ContactStrip | None:
    """Decode the key frames once; the contact strip, written into ``work_dir``.

    None if there is no key frame, or no strip could be drawn: that is no reason to refuse a
    recording. A key frame that the frame table does not know is shown to nobody. Raises TimedOut
    or Stopped.
    """
    if len(key_frames) == 0:
        return None
    limits = limits or Limits()
    source = open_take(take, work_dir=work_dir, limits=limits)
    strip = _planned_strip(source, key_frames, work_dir)
    width, height = shown_size(source, LUMA_HEIGHT)
    shown = _Shown(
        (height, width), frame_pts, source.origin_ticks, work_dir / TIMES_NAME, readers, on_progress
    )
    opened = opened_at(source, None, limits, skip_frame="nokey")
    result = run_tool(
        ["ffmpeg", "-nostdin", "-hide_banner", "-nostats", "-v", "error", "-y"]
        + ffmpeg.compile(_outputs(opened, source, strip, frame_pts, (width, height)))[1:],
        inputs=source.inputs,
        output_dir=work_dir,
        limits=limits,
        require_sandbox=require_sandbox,
        on_stdout=shown.feed,
        should_stop=should_stop,
    )
    shown.show()
    drawn = strip.path.exists() and strip.path.stat().st_size > 0
    return strip if result.returncode == 0 and drawn else None


def _planned_strip(source: Source, key_frames: Int64, work_dir: Path) -> ContactStrip:
    """Stills of key frames, evenly over the take."""
    count = min(CONTACT_STILLS, len(key_frames))
    chosen = key_frames[np.unique(np.linspace(0, len(key_frames) - 1, count).astype(int))]
    width, height = shown_size(source, CONTACT_HEIGHT)
    return ContactStrip(
        work_dir / CONTACT_NAME,
        min(CONTACT_COLUMNS, len(chosen)),
        width,
        height,
        tuple(int(number) for number in chosen),
    )


def _outputs(
    opened: Any, source: Source, strip: ContactStrip, frame_pts: Int64, size: tuple[int, int]
) -> Any:
    """Three outputs of one decode: the times of the key frames, the frames themselves, the strip.

    Raw pictures carry no times; the list beside them has one line for each, in the same order.
    """
    video = opened[str(source.video_index)].filter("settb", f"1/{TICKS_PER_S}")
    halves = video.filter_multi_output("split")
    seen = _seen(halves[0], source, size).filter_multi_output("split")
    times = ffmpeg.output(
        seen[0].filter("crop", 16, 16, 0, 0),
        output_token(TIMES_NAME),
        format="framecrc",
        vcodec="rawvideo",
        fps_mode="passthrough",
        enc_time_base=f"1:{TICKS_PER_S}",
        flush_packets=1,
    )
    frames = ffmpeg.output(
        seen[1], "pipe:1", format="rawvideo", vcodec="rawvideo", fps_mode="passthrough"
    )
    return ffmpeg.merge_outputs(times, frames, _strip_output(halves[1], source, strip, frame_pts))


def _seen(video: Any, source: Source, size: tuple[int, int]) -> Any:
    """Small, grey and upright; of two fields the one shown first, which has the frame's time."""
    apart = f"gte(pts-prev_selected_pts,{round(LEAST_APART_S * TICKS_PER_S)})"
    video = video.filter("select", f"({RISING})*(isnan(prev_selected_pts)+{apart})")
    if source.take.is_interlaced:
        video = video.filter("field", "top" if _top_first(source) else "bottom")
    video = upright(video, source).filter("extractplanes", "y")
    return video.filter("scale", *size, flags="bilinear").filter("format", "gray")


def _top_first(source: Source) -> bool:
    return source.take.first.field_order != "bff"


def _strip_output(video: Any, source: Source, strip: ContactStrip, frame_pts: Int64) -> Any:
    """Chosen key frames, small, upright, in rows."""
    ticks = source.origin_ticks + frame_pts[list(strip.frames)]
    video = video.filter("select", "+".join(f"eq(pts,{int(at)})" for at in ticks))
    video = scaled(upright(video, source), strip.still_width, strip.still_height)
    video = video.filter("tile", f"{strip.columns}x{math.ceil(len(ticks) / strip.columns)}")
    return ffmpeg.output(
        as_jpeg(video),
        output_token(strip.path.name),
        format="image2",
        update=1,
        vcodec="mjpeg",
        fps_mode="passthrough",
        map_metadata=-1,
        fflags="+bitexact",
        **{"frames:v": 1, "q:v": 4, "flags:v": "+bitexact"},
    )


class _Shown:
    """Bytes cut into pictures, each handed on as soon as its time is known."""

    def __init__(
        self,
        shape: tuple[int, int],
        frame_pts: Int64,
        origin_ticks: int,
        times: Path,
        readers: Sequence[KeyFrameReader],
        on_progress: OnProgress,
    ) -> None:
        self.shape = shape
        self.frame_pts = frame_pts
        self.origin_ticks = origin_ticks
        self.times = times
        self.readers = readers
        self.on_progress = on_progress
        self.rest = bytearray()
        self.pictures: deque[Luma] = deque()
        self.ticks: deque[int] = deque()
        self.read_bytes = 0

    def feed(self, chunk: bytes) -> None:
        self.rest += chunk
        size = self.shape[0] * self.shape[1]
        came = False
        while len(self.rest) >= size:
            picture = np.frombuffer(bytes(self.rest[:size]), dtype=np.uint8)
            del self.rest[:size]
            self.pictures.append(picture.reshape(self.shape))
            came = True
        if came:
            self.show()

    def show(self) -> None:
        """Hand on what has both picture and time; the list may lag behind by a few lines."""
        self._read_times()
        while self.pictures and self.ticks:
            picture, ticks = self.pictures.popleft(), self.ticks.popleft()
            at = int(np.searchsorted(self.frame_pts, ticks))
            if at < len(self.frame_pts) and int(self.frame_pts[at]) == ticks:
                for reader in self.readers:
                    reader.look(picture, at)
            if self.on_progress is not None:
                self.on_progress(min(max(ticks / max(int(self.frame_pts[-1]), 1), 0.0), 1.0))

    def _read_times(self) -> None:
        if not self.times.exists():
            return
        with self.times.open("rb") as handle:
            handle.seek(self.read_bytes)
            said = handle.read()
        whole = said[: said.rfind(b"\n") + 1]
        self.read_bytes += len(whole)
        for line in whole.splitlines():
            words = line.split(b",")
            if len(words) >= 6 and not line.startswith(b"#"):
                self.ticks.append(int(words[2]) - self.origin_ticks)
