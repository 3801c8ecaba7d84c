"""Films to take along: up to four views of a swim in step, time and name burnt in.

The pictures of the film are those of its first view, each once and at its own time, stretched by
the film's rate. What every view shows then is said by the caller, frame by frame.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from clinics.media.decode import Picture, Pictures, Video
from clinics.media.encode import EncoderOptions, encode_raw_frames
from clinics.media.letters import Ink, Words, band
from clinics.media.sandbox import Limits
from clinics.media.sheet import Cell, Sheet
from clinics.media.ticks import TICKS_PER_S, Int64

NOT_HERE = -1
PAPER, BAR = (35, 131, 123), (44, 132, 121)
"""Brightness and colour differences (ITU-R BT.709, limited range) of the room's page and bars."""
INK_LUMA = 225
KEYS_S = 1.0
WALL_S = 2 * 3600.0

ENCODER: EncoderOptions = {
    "format": "mp4",
    "vcodec": "libx264",
    "preset": "veryfast",
    "crf": 20,
    "bf": 0,
    "pix_fmt": "yuv420p",
    "profile:v": "high",
    "force_key_frames": f"expr:gte(t,n_forced*{KEYS_S})",
    "colorspace": "bt709",
    "color_primaries": "bt709",
    "color_trc": "bt709",
    "color_range": "tv",
    "video_track_timescale": TICKS_PER_S,
    "movflags": "+faststart",
    "map_metadata": -1,
    "map_chapters": -1,
    "fflags": "+bitexact",
    "flags:v": "+bitexact",
}


@dataclass(frozen=True, eq=False)
class FilmView:
    """A view: its video, which of its frames is in each picture of the film (NOT_HERE: none, and
    else never falling), and what is said below such a frame."""

    video: Video
    frames: Int64
    say: Callable[[int], Words]


def make_film(
    target: Path,
    *,
    sheet: Sheet,
    views: Sequence[FilmView],
    ticks: Int64,
    head: Words,
    not_here: str,
    on_progress: Callable[[float], None] = lambda _share: None,
    limits: Limits | None = None,
    require_sandbox: bool = False,
) -> None:
    """Write the film; picture k stands at `ticks[k]` (1/90000 s). `not_here` is written where a
    view has no picture. What `on_progress` raises ends the work."""
    limits = limits or Limits(threads=1)
    with ExitStack() as stack:
        canvas = _Canvas(sheet, head, not_here)
        reels = [
            _Reel(stack, view, (cell.width, cell.height), limits, require_sandbox)
            for view, cell in zip(views, sheet.cells, strict=True)
        ]
        encode_raw_frames(
            _pictures(canvas, views, reels, on_progress),
            target,
            width_px=sheet.width,
            height_px=sheet.height,
            ticks=ticks.tolist(),
            options=ENCODER,
            wall_s=WALL_S,
        )
        for reel in reels:
            reel.end()


def _pictures(
    canvas: _Canvas,
    views: Sequence[FilmView],
    reels: Sequence[_Reel],
    on_progress: Callable[[float], None],
) -> Iterator[memoryview]:
    """The canvas again and again, each time as the next picture of the film."""
    count = len(views[0].frames)
    shown: list[int | None] = [None] * len(views)
    for at in range(count):
        for place, (view, reel) in enumerate(zip(views, reels, strict=True)):
            frame = int(view.frames[at])
            if frame != shown[place]:
                shown[place] = frame
                canvas.show(place, reel.frame(frame), view.say(frame))
        yield canvas.block.data
        on_progress((at + 1) / count)


class _Reel:
    """The decoded frames of a view from the first that the film needs to the last."""

    def __init__(
        self,
        stack: ExitStack,
        view: FilmView,
        size: tuple[int, int],
        limits: Limits,
        require_sandbox: bool,
    ) -> None:
        needed = view.frames[view.frames != NOT_HERE]
        self._rest: Iterator[Picture] = iter(())
        if len(needed):
            first, count = int(needed[0]), int(needed[-1] - needed[0]) + 1
            pictures = Pictures(
                view.video,
                first,
                count,
                size,
                limits=limits,
                require_sandbox=require_sandbox,
            )
            self._rest = iter(stack.enter_context(pictures))
            self._next = first

    def frame(self, frame: int) -> Picture | None:
        """Further on, never back. None for NOT_HERE."""
        if frame == NOT_HERE:
            return None
        picture = None
        while self._next <= frame:
            picture = next(self._rest)
            self._next += 1
        return picture

    def end(self) -> None:
        """Nothing may be left; what is missing comes to light here."""
        for _picture in self._rest:
            raise AssertionError("more pictures came out than were asked for")


class _Canvas:
    """One picture of the film in three planes, painted over again and again."""

    def __init__(self, sheet: Sheet, head: Words, not_here: str) -> None:
        width, height = sheet.width, sheet.height
        self.sheet, self.not_here = sheet, not_here
        self.block = np.empty(width * height * 3 // 2, dtype=np.uint8)
        full, half = width * height, width * height // 4
        self._planes = (
            self.block[:full].reshape(height, width),
            self.block[full : full + half].reshape(height // 2, width // 2),
            self.block[full + half :].reshape(height // 2, width // 2),
        )
        self._fill(0, 0, width, height, PAPER)
        self._write(head, 0, 0, width, sheet.head_px)

    def show(self, place: int, picture: Picture | None, words: Words) -> None:
        cell = self.sheet.cells[place]
        if picture is None:
            self._leave_empty(cell)
        else:
            self._paste(picture, cell)
        self._write(words, cell.box_left, cell.words_top, cell.box_width, self.sheet.words_px)

    def _paste(self, picture: Picture, cell: Cell) -> None:
        full, half = cell.width * cell.height, cell.width * cell.height // 4
        parts = (picture[:full], picture[full : full + half], picture[full + half :])
        for plane, part, by in zip(self._planes, parts, (1, 2, 2), strict=True):
            width, height, left, top = (
                side // by for side in (cell.width, cell.height, cell.left, cell.top)
            )
            plane[top : top + height, left : left + width] = part.reshape(height, width)

    def _leave_empty(self, cell: Cell) -> None:
        self._fill(cell.left, cell.top, cell.width, cell.height, PAPER)
        height = self.sheet.words_px
        middle = cell.top + (cell.height - height) // 4 * 2
        self._ink(
            band(Words(plain=self.not_here), cell.width, height, self.sheet.text_px),
            PAPER[0],
            cell.left,
            middle,
        )

    def _write(self, words: Words, left: int, top: int, width: int, height: int) -> None:
        self._fill(left, top, width, height, BAR)
        self._ink(band(words, width, height, self.sheet.text_px), BAR[0], left, top)

    def _fill(self, left: int, top: int, width: int, height: int, colour: Sequence[int]) -> None:
        for plane, value, by in zip(self._planes, colour, (1, 2, 2), strict=True):
            plane[top // by : (top + height) // by, left // by : (left + width) // by] = value

    def _ink(self, ink: Ink, paper_luma: int, left: int, top: int) -> None:
        """Ink has no colour of its own: where it is full, the bar's hardly shows."""
        height, width = ink.shape
        luma = paper_luma + ink.astype(np.uint16) * (INK_LUMA - paper_luma) // 255
        self._planes[0][top : top + height, left : left + width] = luma
