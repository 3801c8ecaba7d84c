"""Clips: some pictures of a take as web video, sound, poster and strip, all from one decode,
checked before anybody gets them.

`render_plan` says what is to be made, `render_graph` how ffmpeg makes it.
"""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import ffmpeg
import numpy as np

from clinics.media.checksum import sha256_file
from clinics.media.errors import Damaged, MediaError
from clinics.media.formats import as_argv, guarded_open
from clinics.media.masks import Mask
from clinics.media.mp4 import clear_turn
from clinics.media.pictures import Span, opened_at, seeks
from clinics.media.render_graph import outputs_of
from clinics.media.render_plan import RenderPlan, RenditionSpec, video_name
from clinics.media.sandbox import Limits, describe_failure, input_token, run_tool
from clinics.media.source import open_take
from clinics.media.take import Take
from clinics.media.ticks import Int64

TOLERATED_TICKS = 1
"""Halves may be rounded twice on odd time bases; a tick is 11 microseconds."""

ShouldStop = Callable[[], bool] | None
OnProgress = Callable[[float], None] | None


@dataclass(frozen=True)
class RenderedFile:
    """One file of a clip. ``frame_pts`` (ticks from the clip's first picture) and ``key_frames``
    (indices) are of video only; ``height`` is None for sound."""

    kind: str
    path: Path
    size_bytes: int
    sha256: str
    width: int | None = None
    height: int | None = None
    frame_pts: Int64 | None = None
    key_frames: Int64 | None = None


@dataclass(frozen=True)
class RenderedClip:
    """The files of one clip, checked and on disk under temporary names in ``out_dir``.

    ``sound_offset_s``: the sound begins that much after the first picture (0 when it has any).
    """

    files: tuple[RenderedFile, ...]
    first_frame: int
    frame_count: int
    sound_offset_s: float | None

    def of_kind(self, kind: str) -> list[RenderedFile]:
        return [file for file in self.files if file.kind == kind]


def render_clip(
    take: Take,
    frame_pts: Int64,
    first_frame: int,
    frame_count: int,
    *,
    renditions: Sequence[RenditionSpec],
    out_dir: Path,
    work_dir: Path,
    limits: Limits | None = None,
    key_frames: Int64 | None = None,
    with_sound: bool = True,
    masks: Sequence[Mask] = (),
    poster_frame: int | None = None,
    on_progress: OnProgress = None,
    should_stop: ShouldStop = None,
    require_sandbox: bool = False,
) -> RenderedClip:
    """Render pictures ``first_frame`` to ``first_frame + frame_count - 1`` of a take.

    ``frame_pts`` is the take's frame table and ``key_frames`` its key frames (they save a second
    try). Each video holds exactly those pictures, one to one, at the table's times: checked with
    ffprobe before this returns. ``poster_frame`` counts within the clip (default: its middle).
    ``out_dir`` holds the finished files; on any error it holds none of them.
    """
    limits = limits or Limits()
    source = open_take(take, work_dir=work_dir, limits=limits)
    span = Span(source, np.asarray(frame_pts, dtype=np.int64), first_frame, frame_count)
    plan = RenderPlan.of(span, renditions, with_sound, masks, poster_frame)
    job = _Render(plan, out_dir, limits, on_progress, should_stop, require_sandbox)
    try:
        return job.run(key_frames)
    except BaseException:
        for name in plan.names:
            (out_dir / name).unlink(missing_ok=True)
        raise


class _Render:
    """One rendering: the run, its check, and the steps back if reading began too late."""

    def __init__(
        self,
        plan: RenderPlan,
        out_dir: Path,
        limits: Limits,
        on_progress: OnProgress,
        should_stop: ShouldStop,
        require_sandbox: bool,
    ) -> None:
        self.plan = plan
        self.span = plan.span
        self.out_dir = out_dir
        self.limits = limits
        self.on_progress = on_progress
        self.should_stop = should_stop
        self.require_sandbox = require_sandbox
        self.shown_name = plan.span.source.take.shown_name

    def run(self, key_frames: Int64 | None) -> RenderedClip:
        for at_s in seeks(self.span, key_frames):
            self._render(at_s)
            smallest = self._times_of(video_name(self.plan.sizes[-1][1]))
            if at_s is None or not self._misses_start(smallest[0]):
                break
        larger = [self._times_of(video_name(height)) for _, height, _ in self.plan.sizes[:-1]]
        videos = [
            self._video(width, height, *times)
            for (width, height, _), times in zip(self.plan.sizes, [*larger, smallest], strict=True)
        ]
        sound, offset_s = self._sound()
        stills = [
            self._finished("poster", "poster.jpg", *self.plan.sizes[self.plan.poster_at][:2]),
            self._finished("strip", "strip.jpg", *self._strip_size()),
        ]
        return RenderedClip(
            files=(*videos, *sound, *stills),
            first_frame=self.span.first_frame,
            frame_count=self.span.frame_count,
            sound_offset_s=offset_s,
        )

    def _render(self, at_s: float | None) -> None:
        outputs = outputs_of(self.plan, opened_at(self.span.source, at_s, self.limits), self.limits)
        argv = ["ffmpeg", "-nostdin", "-hide_banner", "-nostats", "-v", "error", "-y"]
        argv += ["-progress", "pipe:1", *ffmpeg.merge_outputs(*outputs).compile()[1:]]
        result = run_tool(
            argv,
            inputs=self.span.source.inputs,
            output_dir=self.out_dir,
            limits=self.limits,
            require_sandbox=self.require_sandbox,
            on_progress=self._progress,
            should_stop=self.should_stop,
        )
        if result.returncode != 0:
            raise describe_failure(result, shown_name=self.shown_name, doing="rendering a clip")

    def _progress(self, line: str) -> None:
        name, _, value = line.partition("=")
        if name == "frame" and self.on_progress is not None and value.isdigit():
            self.on_progress(min(int(value) / self.span.frame_count, 1.0))

    def _times_of(self, name: str) -> tuple[Int64, Int64]:
        """Times and key frames of a rendered video, as ffprobe finds them."""
        said = self._ask_ffprobe(name)
        packets = said.get("packets", [])
        pts = np.array([int(packet["pts"]) for packet in packets], dtype=np.int64)
        keys = [n for n, packet in enumerate(packets) if "K" in packet["flags"]]
        return pts, np.array(keys, dtype=np.int64)

    def _ask_ffprobe(self, name: str) -> dict[str, Any]:
        argv = ["ffprobe", "-v", "error", *as_argv(guarded_open(self.limits)), "-of", "json"]
        argv += ["-show_entries", "packet=pts,flags:stream=codec_type,start_time,width,height"]
        argv += ["-i", input_token(0)]
        result = run_tool(
            argv,
            inputs=[self.out_dir / name],
            limits=self.limits,
            require_sandbox=self.require_sandbox,
            wall_s=self.limits.probe_wall_s,
        )
        if result.returncode != 0:
            raise describe_failure(result, shown_name=self.shown_name, doing="checking a clip")
        said: dict[str, Any] = json.loads(result.stdout)
        return said

    def _misses_start(self, pts: Int64) -> bool:
        """Whether reading began too late: the rest is there, the first pictures are not.

        The clip's clock begins at its first planned picture, so what is there keeps its time.
        """
        planned = self.span.planned_pts
        return len(pts) < len(planned) and (len(pts) == 0 or int(pts[0]) > TOLERATED_TICKS)

    def _video(self, width: int, height: int, pts: Int64, keys: Int64) -> RenderedFile:
        name = video_name(height)
        if self.span.source.take.is_turned:
            clear_turn(self.out_dir / name)
        planned = self.span.planned_pts
        if len(pts) != len(planned) or np.any(np.abs(pts - planned) > TOLERATED_TICKS):
            raise self._other_frames(pts)
        return self._finished("video", name, width, height, pts, keys)

    def _other_frames(self, pts: Int64) -> MediaError:
        return Damaged(
            f"{self.shown_name}: {self.span.frame_count} pictures were planned for this clip, and "
            f"{len(pts)} came out or at other times: the recording is damaged here. Index it "
            "again, or cut around the damaged place.",
            reason_code="frames-differ",
        )

    def _sound(self) -> tuple[list[RenderedFile], float | None]:
        """The sound file, unless the recording has no sound in this span."""
        path = self.out_dir / "sound.m4a"
        if not self.plan.with_sound:
            return [], None
        said = self._ask_ffprobe(path.name) if path.stat().st_size else {}
        if not said.get("packets"):
            path.unlink()
            return [], None
        offset_s = float(said["streams"][0].get("start_time", 0.0))
        return [self._finished("sound", path.name)], offset_s

    def _strip_size(self) -> tuple[int, int]:
        width, height = self.plan.strip_still_size
        return width * len(self.plan.strip_frames), height

    def _finished(
        self,
        kind: str,
        name: str,
        width: int | None = None,
        height: int | None = None,
        frame_pts: Int64 | None = None,
        key_frames: Int64 | None = None,
    ) -> RenderedFile:
        path = self.out_dir / name
        if not path.exists() or path.stat().st_size == 0:
            raise Damaged(f"{self.shown_name}: {name} of the clip came out empty. Cut it again.")
        _to_disk(path)
        return RenderedFile(
            kind=kind,
            path=path,
            size_bytes=path.stat().st_size,
            sha256=sha256_file(path),
            width=width,
            height=height,
            frame_pts=frame_pts,
            key_frames=key_frames,
        )


def _to_disk(path: Path) -> None:
    with path.open("rb") as handle:
        os.fsync(handle.fileno())
