"""A clip's plan as outputs of ffmpeg: everything that is made of it, from one decode."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import ffmpeg

from clinics.media.masks import covered
from clinics.media.pictures import as_jpeg, exact_pictures, scaled
from clinics.media.render_plan import RenderPlan, RenditionSpec, video_name
from clinics.media.sandbox import Limits, output_token
from clinics.media.ticks import TICKS_PER_S

SOUND_BITRATE = "96k"


def outputs_of(plan: RenderPlan, opened: Any, limits: Limits) -> list[Any]:
    """All outputs of the one decode."""
    outputs = []
    picture = exact_pictures(opened, plan.span)
    for at, (width, height, spec) in enumerate(plan.sizes):
        picture = scaled(picture, width, height)
        if at == 0:
            picture = _masked(picture, plan, width, height)
        last = at == len(plan.sizes) - 1
        wanted = ["video"] + ["poster"] * (at == plan.poster_at) + ["strip" if last else "next"]
        parts = dict(zip(wanted, _split(picture, len(wanted)), strict=True))
        outputs.append(_video_output(parts["video"], height, spec, limits))
        if "poster" in parts:
            outputs.append(_poster_output(parts["poster"], plan))
        if last:
            outputs.append(_strip_output(parts["strip"], plan))
        else:
            picture = parts["next"]
    if plan.with_sound:
        outputs.append(_sound_output(opened, plan))
    return outputs


def _split(picture: Any, count: int) -> list[Any]:
    node = picture.filter_multi_output("split", count)
    return [node[at] for at in range(count)]


def _masked(picture: Any, plan: RenderPlan, width: int, height: int) -> Any:
    """Masks go on the largest picture, from which every other one is made."""
    span = plan.span
    start = int(span.frame_pts[span.first_frame])
    return covered(picture, plan.masks, width, height, start_ticks=start, end_ticks=span.end_ticks)


_CLEAN = {"map_metadata": -1, "map_chapters": -1, "fflags": "+bitexact"}
"""No place, device, date or chapter of the original goes on."""


def _video_output(picture: Any, height: int, spec: RenditionSpec, limits: Limits) -> Any:
    """Web video as the watch room needs it: no sound, no B-frames, closed groups by time.

    A key frame stands at the first picture of each stretch of ``gop_s``, also at variable rate.
    """
    stretch = f"floor((%s+0.000005)/{spec.gop_s})"
    due = f"gt({stretch % 't'},{stretch % 'prev_forced_t'})"
    return ffmpeg.output(
        picture,
        output_token(video_name(height)),
        format="mp4",
        vcodec="libx264",
        preset="veryfast",
        crf=spec.crf,
        bf=0,
        g=100_000,
        sc_threshold=0,
        pix_fmt="yuv420p",
        fps_mode="passthrough",
        enc_time_base=f"1:{TICKS_PER_S}",
        video_track_timescale=TICKS_PER_S,
        movflags="+faststart",
        force_key_frames=f"expr:if(isnan(prev_forced_t),1,{due})",
        threads=limits.threads,
        **{"profile:v": "high", "flags:v": "+cgop+bitexact", "forced-idr": 1},
        **_CLEAN,
    )


def _chosen(picture: Any, frames: Sequence[int]) -> Any:
    return picture.filter("select", "+".join(f"eq(n,{frame})" for frame in frames))


def _jpeg_output(picture: Any, name: str) -> Any:
    return ffmpeg.output(
        as_jpeg(picture),
        output_token(name),
        format="image2",
        update=1,
        vcodec="mjpeg",
        fps_mode="passthrough",
        **{"frames:v": 1, "q:v": 3, "flags:v": "+bitexact"},
        **_CLEAN,
    )


def _poster_output(picture: Any, plan: RenderPlan) -> Any:
    return _jpeg_output(_chosen(picture, [plan.poster_frame]), "poster.jpg")


def _strip_output(picture: Any, plan: RenderPlan) -> Any:
    width, height = plan.strip_still_size
    stills = _chosen(picture, plan.strip_frames).filter("scale", width, height)
    return _jpeg_output(stills.filter("tile", f"{len(plan.strip_frames)}x1"), "strip.jpg")


def _sound_output(opened: Any, plan: RenderPlan) -> Any:
    """The same span's sound from the first picture on, silence where the recording has none."""
    facts = plan.span.source.take.first
    start_s, end_s = plan.span.start_ticks / TICKS_PER_S, plan.span.end_ticks / TICKS_PER_S
    sound = (
        opened[str(facts.audio_index)]
        .filter("atrim", start=f"{start_s:.6f}", end=f"{end_s:.6f}")
        .filter("asetpts", f"PTS-({start_s:.6f})/TB")
        .filter("aresample", first_pts=0, **{"async": 1})
    )
    return ffmpeg.output(
        sound,
        output_token("sound.m4a"),
        format="ipod",
        acodec="aac",
        movflags="+faststart",
        ac=min(facts.audio_channels or 1, 2),
        **{"b:a": SOUND_BITRATE, "flags:a": "+bitexact"},
        **_CLEAN,
    )
