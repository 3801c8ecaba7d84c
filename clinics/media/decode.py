"""Exact pictures of a clip's own video as raw pixels, a few at a time.

However long the span: as many pictures as a short queue holds are in memory. When nobody takes
them, the pipe is full and the decoder waits.
"""

from __future__ import annotations

import queue
import tempfile
import threading
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from types import TracebackType
from typing import Any, Literal

import ffmpeg
import numpy as np
from numpy.typing import NDArray

from clinics.media.errors import Damaged, MediaError, Stopped
from clinics.media.pictures import Span, exact_pictures, opened_at, seeks
from clinics.media.probe import probe
from clinics.media.sandbox import Limits, describe_failure, run_tool
from clinics.media.source import open_take
from clinics.media.take import Take
from clinics.media.ticks import Int64

Pixels = Literal["rgb24", "yuv420p"]
Picture = NDArray[np.uint8]

BYTES_FOR_2 = {"rgb24": 6, "yuv420p": 3}
"""Bytes of two pixels."""
AT_ONCE = 3
"""Pictures that wait to be taken, besides the one that is being filled."""
WAIT_S = 0.2


@dataclass(frozen=True, eq=False)
class Video:
    """A video file made here, the times of its frames (ticks from the first), its key frames."""

    path: Path
    shown_name: str
    frame_pts: Int64
    key_frames: Int64 | None = None


@dataclass(eq=False)
class Pictures:
    """Frames `first_frame` on, `frame_count` of them, scaled to `size`; with `only`, of these
    those whose place among them is in it. To be used in a `with`, and iterated once.

    Each is uint8 [height, width, 3], or one row of planes for "yuv420p". Raises Damaged if not
    every one comes out. Stops its decoder when the `with` ends, whatever ends it.
    """

    video: Video
    first_frame: int
    frame_count: int
    size: tuple[int, int]
    pixels: Pixels = "yuv420p"
    only: Sequence[int] | None = None
    limits: Limits = field(default_factory=Limits)
    require_sandbox: bool = False

    def __post_init__(self) -> None:
        self._filled: queue.Queue[Picture | BaseException | None] = queue.Queue(AT_ONCE)
        self._stopping = threading.Event()
        self._filling: Picture | None = None
        self._has_bytes = 0
        self._thread = threading.Thread(target=self._run, name="decode", daemon=True)

    @property
    def expected(self) -> int:
        return self.frame_count if self.only is None else len(self.only)

    def __enter__(self) -> Pictures:
        self._thread.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        problem: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._stopping.set()
        self._thread.join()

    def __iter__(self) -> Iterator[Picture]:
        """In order. The queue ends with None, or with what went wrong."""
        count = 0
        while (item := self._filled.get()) is not None:
            if isinstance(item, BaseException):
                raise item
            count += 1
            yield item
        if count != self.expected:
            raise Damaged(
                f"{self.video.shown_name}: {self.expected} pictures were to be read and {count} "
                "came out. Have this view made again."
            )

    # --- in the thread ----------------------------------------------------------------------

    def _run(self) -> None:
        end: BaseException | None = None
        try:
            self._decode()
        except BaseException as problem:  # handed to who iterates
            end = problem
        self._put(end)

    def _decode(self) -> None:
        with tempfile.TemporaryDirectory(prefix="sidelane-decode-") as folder:
            path, name = self.video.path, self.video.shown_name
            facts = probe(
                path,
                shown_name=name,
                limits=self.limits,
                require_sandbox=self.require_sandbox,
            )
            take = Take((path,), (facts,), (name,))
            source = open_take(take, work_dir=Path(folder), limits=self.limits)
            span = Span(source, self.video.frame_pts, self.first_frame, self.frame_count)
            result = run_tool(
                self._argv(span),
                inputs=source.inputs,
                limits=self.limits,
                require_sandbox=self.require_sandbox,
                on_stdout=self._take,
                should_stop=self._stopping.is_set,
            )
        if result.returncode != 0:
            raise describe_failure(result, shown_name=name, doing="reading a clip")

    def _argv(self, span: Span) -> list[str]:
        # Key frames of a file made here are known for certain: the first step of seeking does.
        at_s = next(seeks(span, self.video.key_frames))
        picture = exact_pictures(opened_at(span.source, at_s, self.limits), span)
        if self.only is not None:
            picture = picture.filter("select", "+".join(f"eq(n,{place})" for place in self.only))
        output = ffmpeg.output(
            self._scaled(picture),
            "pipe:1",
            format="rawvideo",
            pix_fmt=self.pixels,
            fps_mode="passthrough",
        )
        argv = ["ffmpeg", "-nostdin", "-hide_banner", "-nostats", "-v", "error", "-y"]
        return [*argv, *output.compile()[1:]]

    def _scaled(self, picture: Any) -> Any:
        """Films of several cameras have one matrix, that of high definition. Rounding exactly is
        for stills: it costs a film several times as long, for two levels of 255."""
        options: dict[str, str] = {"flags": "bicubic+accurate_rnd+full_chroma_int"}
        if self.pixels == "yuv420p":
            options = {"flags": "bicubic", "out_color_matrix": "bt709", "out_range": "tv"}
        return picture.filter("scale", *self.size, **options).filter("format", self.pixels)

    def _take(self, chunk: bytes) -> None:
        """Bytes from the decoder, cut into pictures."""
        width, height = self.size
        size_bytes = width * height * BYTES_FOR_2[self.pixels] // 2
        read = np.frombuffer(chunk, dtype=np.uint8)
        while len(read):
            if self._filling is None:
                self._filling, self._has_bytes = np.empty(size_bytes, dtype=np.uint8), 0
            part = read[: size_bytes - self._has_bytes]
            self._filling[self._has_bytes : self._has_bytes + len(part)] = part
            self._has_bytes += len(part)
            read = read[len(part) :]
            if self._has_bytes == size_bytes:
                whole, self._filling = self._filling, None
                if self.pixels == "rgb24":
                    whole = whole.reshape(height, width, 3)
                if not self._put(whole):
                    raise Stopped("Nobody takes these pictures any more.")

    def _put(self, item: Picture | BaseException | None) -> bool:
        """False: it was stopped, and nobody will take anything more."""
        while not self._stopping.is_set():
            try:
                self._filled.put(item, timeout=WAIT_S)
            except queue.Full:
                continue
            return True
        return False


def read_pictures(
    video: Video,
    frames: Sequence[int],
    size: tuple[int, int],
    *,
    limits: Limits | None = None,
    require_sandbox: bool = False,
) -> list[Picture]:
    """Some frames of a clip, rising, as RGB. All of them are in memory: for stills."""
    if not frames or any(b <= a for a, b in zip(frames, frames[1:], strict=False)):
        raise MediaError("frames to read rise, and there is one at least")
    first = frames[0]
    with Pictures(
        video,
        first,
        frames[-1] - first + 1,
        size,
        "rgb24",
        [frame - first for frame in frames],
        limits or Limits(),
        require_sandbox,
    ) as pictures:
        return list(pictures)
