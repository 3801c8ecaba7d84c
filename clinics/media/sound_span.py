"""A part of a sound file, for a clip that is made narrower: what is outside is in no file."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import ffmpeg

from clinics.media.formats import guarded_open
from clinics.media.sandbox import Limits, describe_failure, input_token, output_token, run_tool
from clinics.media.ticks import TICKS_PER_S

NAME = "sound.m4a"
BITRATE = "96k"


def cut_sound(
    path: Path,
    *,
    from_ticks: int,
    length_ticks: int,
    out_dir: Path,
    limits: Limits,
    require_sandbox: bool = False,
) -> Path:
    """``length_ticks`` of the file's sound from ``from_ticks`` on (1/90000 s of its own time)."""
    start_s, end_s = from_ticks / TICKS_PER_S, (from_ticks + length_ticks) / TICKS_PER_S
    opened = ffmpeg.input(input_token(0), f="mov", threads=limits.threads, **guarded_open(limits))
    sound = (
        opened["a:0"]
        .filter("atrim", start=f"{start_s:.6f}", end=f"{end_s:.6f}")
        .filter("asetpts", f"PTS-({start_s:.6f})/TB")
    )
    argv = ["ffmpeg", "-nostdin", "-hide_banner", "-nostats", "-v", "error", "-y"]
    result = run_tool(
        argv + _output(sound).compile()[1:],
        inputs=[path],
        output_dir=out_dir,
        limits=limits,
        require_sandbox=require_sandbox,
        wall_s=limits.probe_wall_s,
    )
    if result.returncode != 0:
        raise describe_failure(result, shown_name=path.name, doing="cutting a clip's sound")
    return out_dir / NAME


def _output(sound: Any) -> Any:
    return ffmpeg.output(
        sound,
        output_token(NAME),
        format="ipod",
        acodec="aac",
        movflags="+faststart",
        map_metadata=-1,
        map_chapters=-1,
        fflags="+bitexact",
        **{"b:a": BITRATE, "flags:a": "+bitexact"},
    )
