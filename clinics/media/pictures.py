"""The one chain of filters that gives exactly the planned pictures of a take, upright.

Rendering and single stills share it, so that a still is the very picture that the clip shows.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import ffmpeg
import numpy as np

from clinics.media.listing import seek_point
from clinics.media.sandbox import Limits
from clinics.media.source import Source
from clinics.media.ticks import GAP_FACTOR, TICK_BASE, TICKS_PER_S, Int64, usual_spacing

EARLY_FRAMES = 8
"""Pictures handed to the deinterlacer before the first wanted one: it looks at its neighbours."""

RISING = "isnan(prev_selected_pts)+gt(pts,prev_selected_pts)"
"""Keeps pictures whose time is later than the one before: damage can give two the same time."""

EARLY_STEPS_S = (3.0, 15.0)
"""How early to begin reading when the key frames are not known, step by step."""


@dataclass(frozen=True)
class Span:
    """Consecutive pictures of a take: from ``first_frame`` on, ``frame_count`` of them."""

    source: Source
    frame_pts: Int64
    first_frame: int
    frame_count: int

    def __post_init__(self) -> None:
        end = self.first_frame + self.frame_count
        if self.first_frame < 0 or self.frame_count < 1 or end > len(self.frame_pts):
            raise ValueError(
                f"pictures {self.first_frame} to {end - 1} do not lie in a recording of "
                f"{len(self.frame_pts)} pictures"
            )

    @property
    def planned_pts(self) -> Int64:
        """Times of the pictures from the first one on, in ticks."""
        end = self.first_frame + self.frame_count
        return self.frame_pts[self.first_frame : end] - self.frame_pts[self.first_frame]

    @property
    def start_ticks(self) -> int:
        """When the first picture is shown, on the source's own clock."""
        return self.source.origin_ticks + int(self.frame_pts[self.first_frame])

    @property
    def last_ticks(self) -> int:
        """When the last picture is shown, on the source's own clock."""
        return self.start_ticks + int(self.planned_pts[-1])

    @property
    def end_ticks(self) -> int:
        """When the picture after the last one is shown, or would be."""
        following = self.first_frame + self.frame_count
        if following < len(self.frame_pts):
            return self.source.origin_ticks + int(self.frame_pts[following])
        return self.last_ticks + usual_spacing(self.frame_pts)


def seeks(span: Span, key_frames: Int64 | None) -> Iterator[float | None]:
    """Where to begin reading, in seconds on the source's clock, from cheap to certain.

    Two key frames early was right in every measurement, but containers lie; the rendered list of
    times is checked, and the next step taken if pictures are missing at the start. None means
    from the start of the take.
    """
    if key_frames is not None and len(key_frames):
        keys = span.source.origin_ticks + span.frame_pts[key_frames]
        for keys_early in (2, 6):
            at = seek_point(keys, span.start_ticks, keys_early=keys_early)
            if at is None:
                break
            yield at / TICKS_PER_S
    else:
        for early_s in EARLY_STEPS_S:
            at_s = span.start_ticks / TICKS_PER_S - early_s
            if at_s * TICKS_PER_S <= span.source.origin_ticks:
                break
            yield at_s
    yield None


def opened_at(source: Source, at_s: float | None, limits: Limits, **more: str) -> Any:
    """The input of an ffmpeg graph, on its own clock, never trimmed or turned by ffmpeg itself."""
    return ffmpeg.input(
        source.name,
        copyts=None,
        noautorotate=None,
        noaccurate_seek=None,
        threads=limits.threads,
        **source.options,
        **source.seek_options(at_s),
        **more,
    )


def exact_pictures(opened: Any, span: Span) -> Any:
    """The span's pictures and no others, beginning at time 0 on a clock of 1/90000 s, upright.

    Interlaced frames become two pictures each. All cutting is by time stamp.
    """
    source = span.source
    video = opened[str(source.video_index)].filter("select", RISING)
    if source.take.is_interlaced:
        video = _separated(video, span)
    video = video.filter("settb", f"1/{TICKS_PER_S}")
    video = video.filter("trim", start_pts=span.start_ticks, end_pts=span.last_ticks + 1)
    video = video.filter("setpts", f"PTS-({span.start_ticks})")
    return _coloured(upright(video, source), source)


def _separated(video: Any, span: Span) -> Any:
    """Fields as pictures; what comes long before the span is dropped before that work."""
    source = span.source
    early_frame = max(0, span.first_frame - EARLY_FRAMES)
    early_ticks = source.origin_ticks + int(span.frame_pts[early_frame]) - 1
    video = video.filter("trim", start_pts=int(early_ticks * TICK_BASE // source.time_base))
    video = video.filter(
        "bwdif", mode="send_field", parity=source.take.first.field_order, deint="all"
    )
    # The filter puts a second field halfway to the next frame, also before a gap; the frame table
    # does not (ticks.pictures_of). Its time base is half the stream's.
    usual = _usual_frame(span)
    late = f"mod(N,2)*gt(PTS-PREV_INPTS,{GAP_FACTOR * usual})"
    return video.filter("setpts", f"if({late},PREV_INPTS+{usual},PTS)")


def _usual_frame(span: Span) -> int:
    """Usual distance of frames (not fields), in the stream's time base."""
    ticks = int(np.median(np.diff(span.frame_pts[::2]))) if len(span.frame_pts) > 2 else 1
    return max(1, round(ticks * TICK_BASE / span.source.time_base))


def upright(video: Any, source: Source) -> Any:
    """Turned as the camera says; the mark that says so is taken off, or players turn it again."""
    facts = source.take.first
    video = video.filter("sidedata", mode="delete", type="DISPLAYMATRIX")
    if facts.rotation_deg == 90:
        video = video.filter("transpose", "clock")
    elif facts.rotation_deg == 180:
        video = video.filter("hflip").filter("vflip")
    elif facts.rotation_deg == 270:
        video = video.filter("transpose", "cclock")
    return video.filter("hflip") if facts.mirrored else video


def _coloured(video: Any, source: Source) -> Any:
    """Say which colours are meant where the camera did not: players guess by height, and a small
    rendition of a high-definition picture would be guessed wrong."""
    facts = source.take.first
    if facts.color_space is not None:
        return video
    meant = "bt709" if facts.coded_height >= 720 else "smpte170m"
    return video.filter("setparams", colorspace=meant, color_primaries=meant, color_trc=meant)


def scaled(video: Any, width: int, height: int) -> Any:
    """The picture at exactly this size, square pixels, 8 bits, limited range."""
    return (
        video.filter("scale", width, height, flags="bicubic", out_range="tv")
        .filter("setsar", "1")
        .filter("format", "yuv420p")
    )


def as_jpeg(video: Any) -> Any:
    """A scaled picture as JPEG means it: full range and the matrix of JFIF (BT.601)."""
    converted = video.filter("scale", in_range="tv", out_range="pc", out_color_matrix="bt601")
    return converted.filter("format", "yuvj420p")


def shown_size(source: Source, height: int) -> tuple[int, int]:
    """Even width and height for a picture shown at most ``height`` high, never enlarged."""
    facts = source.take.first
    height = min(height, facts.height)
    width = facts.width * height / facts.height
    return max(2, round(width / 2) * 2), max(2, height - height % 2)
