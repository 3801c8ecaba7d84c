"""Pictures of a take as grey arrays, each with its own number: for eyes that are a program.

Of interlaced frames each field is a picture by itself, made of its own lines alone. The
deinterlacer that clips are made with looks at the neighbouring fields; here nothing of another
instant may come in.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Generic, TypeVar

import ffmpeg
import numpy as np
from numpy.typing import NDArray

from clinics.media.errors import Damaged
from clinics.media.pictures import RISING, Span, opened_at, seeks, upright
from clinics.media.sandbox import Limits, run_tool
from clinics.media.source import open_take
from clinics.media.take import Take
from clinics.media.ticks import TICKS_PER_S, Int64

MAX_SIDE = 1920
Luma = NDArray[np.uint8]
Seen = TypeVar("Seen")


def each_picture(
    take: Take,
    frame_pts: Int64,
    first_frame: int,
    frame_count: int,
    *,
    look: Callable[[int, Luma], Seen | None],
    work_dir: Path,
    every: int = 1,
    limits: Limits | None = None,
    key_frames: Int64 | None = None,
    should_stop: Callable[[], bool] | None = None,
    require_sandbox: bool = False,
) -> list[Seen]:
    """What `look(number, luma)` finds in pictures `first_frame` and on, None left out.

    `luma`: uint8 [h, w], upright, full size up to 1920 wide. `every` n-th picture only (of
    interlaced takes both fields of every n-th frame). Should reading have begun too late, all is
    looked at again from an earlier place, and only that counts. Raises Damaged if the pictures
    cannot be had, TimedOut, or Stopped.
    """
    limits = limits or Limits()
    with tempfile.TemporaryDirectory(prefix="sidelane-luma-", dir=work_dir) as folder:
        source = open_take(take, work_dir=Path(folder), limits=limits)
        span = Span(source, np.asarray(frame_pts, dtype=np.int64), first_frame, frame_count)
        plan = _Plan.of(span, every)
        for at_s in seeks(span, key_frames) if every == 1 else [None]:
            cutter = _Cutter(plan, look)
            run_tool(
                ["ffmpeg", "-nostdin", "-hide_banner", "-nostats", "-v", "error"]
                + ffmpeg.compile(plan.output(opened_at(source, at_s, limits)))[1:],
                inputs=source.inputs,
                limits=limits,
                require_sandbox=require_sandbox,
                on_stdout=cutter.feed,
                should_stop=should_stop,
            )
            if cutter.coded == plan.coded_count:
                return cutter.seen
    raise Damaged(
        f"{take.shown_name}: pictures {first_frame} to {first_frame + frame_count - 1} cannot all "
        "be decoded, the recording is damaged there."
    )


@dataclass(frozen=True)
class _Plan:
    """Which coded frames are decoded, how large, and how many pictures each one is."""

    span: Span
    every: int
    first_coded: int
    coded_count: int
    height: int
    width: int

    @classmethod
    def of(cls, span: Span, every: int) -> _Plan:
        take, per_frame = span.source.take, 2 if span.source.take.is_interlaced else 1
        first = span.first_frame // per_frame
        last = (span.first_frame + span.frame_count - 1) // per_frame
        width, height = _size(take)
        return cls(span, every, first, -(-(last + 1 - first) // every), height, width)

    @property
    def per_frame(self) -> int:
        return 2 if self.span.source.take.is_interlaced else 1

    def output(self, opened: Any) -> Any:
        span, source = self.span, self.span.source
        last = min(
            (self.first_coded + self.every * self.coded_count) * self.per_frame,
            len(span.frame_pts),
        )
        start = source.origin_ticks + int(span.frame_pts[self.first_coded * self.per_frame])
        end = source.origin_ticks + int(span.frame_pts[last - 1]) + 1
        video = opened[str(source.video_index)].filter("select", RISING)
        video = video.filter("settb", f"1/{TICKS_PER_S}")
        video = video.filter("trim", start_pts=start, end_pts=end)
        if self.every > 1:
            video = video.filter("select", f"not(mod(n,{self.every}))")
        if self.per_frame == 1:
            video = upright(video, source)
        video = video.filter("extractplanes", "y").filter("format", "gray")
        flags = "area" if self.per_frame == 1 else "neighbor"
        video = video.filter("scale", self.width, self.height, flags=flags)
        return ffmpeg.output(
            video, "pipe:1", format="rawvideo", vcodec="rawvideo", fps_mode="passthrough"
        )


def _size(take: Take) -> tuple[int, int]:
    """Fields keep every line, and are turned upright afterwards; frames shrink to fit."""
    facts = take.first
    if take.is_interlaced:
        return facts.coded_width, facts.coded_height
    shrink = min(1.0, MAX_SIDE / max(facts.width, facts.height))
    return max(2, round(facts.width * shrink)), max(2, round(facts.height * shrink))


class _Cutter(Generic[Seen]):
    """Cuts raw bytes into pictures and shows each to whoever looks."""

    def __init__(self, plan: _Plan, look: Callable[[int, Luma], Seen | None]) -> None:
        self.plan = plan
        self.look = look
        self.rest = bytearray()
        self.coded = 0
        self.seen: list[Seen] = []

    def feed(self, chunk: bytes) -> None:
        size = self.plan.height * self.plan.width
        self.rest += chunk
        while len(self.rest) >= size:
            frame = np.frombuffer(bytes(self.rest[:size]), dtype=np.uint8)
            del self.rest[:size]
            self._show(frame.reshape(self.plan.height, self.plan.width))

    def _show(self, frame: Luma) -> None:
        coded = self.plan.first_coded + self.coded * self.plan.every
        self.coded += 1
        if self.coded > self.plan.coded_count:
            return
        pictures = [frame] if self.plan.per_frame == 1 else self._fields(frame)
        span = self.plan.span
        for n, luma in enumerate(pictures):
            number = coded * self.plan.per_frame + n
            if span.first_frame <= number < span.first_frame + span.frame_count:
                found = self.look(number, luma)
                if found is not None:
                    self.seen.append(found)

    def _fields(self, frame: Luma) -> list[Luma]:
        """Both fields in the order shown, lines between made from the two around them."""
        facts = self.plan.span.source.take.first
        order = (0, 1) if facts.field_order == "tff" else (1, 0)
        turns = -facts.rotation_deg // 90
        fields = [np.rot90(_filled(frame[begin::2]), turns) for begin in order]
        return [np.ascontiguousarray(f[:, ::-1] if facts.mirrored else f) for f in fields]


def _filled(field: Luma) -> Luma:
    lines = np.repeat(field, 2, axis=0)
    between = (field[:-1].astype(np.uint16) + field[1:]) // 2
    lines[1:-1:2] = between.astype(np.uint8)
    return lines
