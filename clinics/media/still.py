"""Single pictures of a take as JPEG: the very pictures that a clip of them would show."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Sequence
from pathlib import Path

import ffmpeg
import numpy as np

from clinics.media.errors import Damaged
from clinics.media.masks import Mask, covered
from clinics.media.pictures import (
    Span,
    as_jpeg,
    exact_pictures,
    opened_at,
    scaled,
    seeks,
    shown_size,
)
from clinics.media.sandbox import Limits, describe_failure, output_token, run_tool
from clinics.media.source import open_take
from clinics.media.take import Take
from clinics.media.ticks import Int64

QUALITY = 3


def extract_frame(
    take: Take,
    frame_pts: Int64,
    frame_index: int,
    *,
    out_path: Path,
    height: int,
    limits: Limits | None = None,
    key_frames: Int64 | None = None,
    require_sandbox: bool = False,
) -> Path:
    """Picture ``frame_index`` of the take as a JPEG at ``out_path``, at most ``height`` high."""
    with tempfile.TemporaryDirectory(prefix="sidelane-still-", dir=out_path.parent) as folder:
        made = extract_frames(
            take,
            frame_pts,
            frame_index,
            1,
            out_dir=Path(folder),
            height=height,
            limits=limits,
            key_frames=key_frames,
            require_sandbox=require_sandbox,
        )
        made[0].replace(out_path)
    return out_path


def extract_frames(
    take: Take,
    frame_pts: Int64,
    first_frame: int,
    frame_count: int,
    *,
    out_dir: Path,
    height: int,
    limits: Limits | None = None,
    key_frames: Int64 | None = None,
    masks: Sequence[Mask] = (),
    require_sandbox: bool = False,
) -> Sequence[Path]:
    """A short run of pictures in one decode: JPEGs in order, at most ``height`` high each, with
    ``masks`` on.

    Raises Damaged if not every one of them can be decoded; then none is left behind.
    """
    limits = limits or Limits()
    with tempfile.TemporaryDirectory(prefix="sidelane-still-", dir=out_dir) as folder:
        work_dir = Path(folder)
        source = open_take(take, work_dir=work_dir, limits=limits)
        span = Span(source, np.asarray(frame_pts, dtype=np.int64), first_frame, frame_count)
        for at_s in seeks(span, key_frames):
            made = _run(span, at_s, work_dir, height, masks, limits, require_sandbox)
            if len(made) == frame_count:
                return [Path(shutil.move(path, out_dir / path.name)) for path in made]
    raise Damaged(
        f"{take.shown_name}: picture {first_frame} cannot be decoded, the recording is damaged "
        "there. Choose another picture."
    )


def _run(
    span: Span,
    at_s: float | None,
    work_dir: Path,
    height: int,
    masks: Sequence[Mask],
    limits: Limits,
    require_sandbox: bool,
) -> list[Path]:
    for left_over in work_dir.glob("still-*.jpg"):
        left_over.unlink()
    picture = exact_pictures(opened_at(span.source, at_s, limits), span)
    size = shown_size(span.source, height)
    start = int(span.frame_pts[span.first_frame])
    picture = covered(
        scaled(picture, *size), masks, *size, start_ticks=start, end_ticks=span.end_ticks
    )
    output = ffmpeg.output(
        as_jpeg(picture),
        output_token("still-%05d.jpg"),
        format="image2",
        vcodec="mjpeg",
        fps_mode="passthrough",
        # Left to itself the encoder counts in frames of the nominal rate; with a variable rate
        # two pictures then fall on one tick, and it refuses the second.
        enc_time_base="1/90000",
        map_metadata=-1,
        fflags="+bitexact",
        **{"q:v": QUALITY, "flags:v": "+bitexact", "frames:v": span.frame_count},
    )
    result = run_tool(
        ["ffmpeg", "-nostdin", "-hide_banner", "-nostats", "-v", "error", "-y"]
        + output.compile()[1:],
        inputs=span.source.inputs,
        output_dir=work_dir,
        limits=limits,
        require_sandbox=require_sandbox,
        wall_s=limits.probe_wall_s,
    )
    if result.returncode != 0:
        name = span.source.take.shown_name
        raise describe_failure(result, shown_name=name, doing="taking a still")
    return sorted(work_dir.glob("still-*.jpg"))
