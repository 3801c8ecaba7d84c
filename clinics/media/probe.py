"""What a file is: facts from ffprobe and from decoding its first pictures, or a clear refusal."""

from __future__ import annotations

import json
import re
from collections import Counter
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

from clinics.media.errors import Damaged, MediaError, TimedOut, TooLarge, Unsupported
from clinics.media.facts import FileFacts
from clinics.media.formats import (
    AUDIO_CODECS,
    CONTAINERS,
    VIDEO_CODECS,
    as_argv,
    guarded_open,
)
from clinics.media.magic import refuse_if_no_video
from clinics.media.sandbox import Limits, ToolResult, input_token, run_tool

__all__ = ["FileFacts", "probe"]

SAMPLE_FRAMES = 24
STDERR_KEPT_BYTES = 4 << 20
_SHOWN = re.compile(r"n: *(\d+) pts: *(-?\d+|NOPTS) .*? s:(\d+)x(\d+) i:(\S) iskey:(\d)")
_SHOWN_BASE = re.compile(r"config in time_base: (\d+)/(\d+)")


def probe(
    path: Path, *, shown_name: str, limits: Limits | None = None, require_sandbox: bool = False
) -> FileFacts:
    """The facts of one video file. ``shown_name`` is what its owner calls it, for messages.

    Raises Unsupported, Damaged, TooLarge or TimedOut with a reason for a person. Opens no other
    file and no network connection, whatever the file says.
    """
    limits = limits or Limits()
    refuse_if_no_video(path, shown_name)
    if path.stat().st_size > limits.max_size_bytes:
        raise TooLarge(
            f"{shown_name} is larger than {limits.max_size_bytes >> 30} GiB: "
            "let the camera split its recordings, or cut it into parts."
        )
    try:
        said = _ask_ffprobe(path, shown_name, limits, require_sandbox)
        video = _only_video(said, shown_name, limits)
        sample = _decode_start(path, said, video, shown_name, limits, require_sandbox)
    except TimedOut as error:
        raise TimedOut(
            f"{shown_name} could not be examined within {limits.probe_wall_s:.0f} s: it is "
            "damaged, or the machine is overloaded. Try again later."
        ) from error
    return _facts(path, said, video, sample)


def _ask_ffprobe(
    path: Path, shown_name: str, limits: Limits, require_sandbox: bool
) -> dict[str, Any]:
    argv = ["ffprobe", "-v", "error", *as_argv(guarded_open(limits)), "-of", "json"]
    argv += ["-show_format", "-show_streams", "-i", input_token(0)]
    result = run_tool(
        argv,
        inputs=[path],
        limits=limits,
        require_sandbox=require_sandbox,
        wall_s=limits.probe_wall_s,
    )
    if result.returncode != 0:
        raise _refusal(result, shown_name)
    try:
        said = json.loads(result.stdout)
    except ValueError as error:
        raise Damaged(f"{shown_name} could not be read: copy it from the card again.") from error
    if said.get("format", {}).get("format_name") not in CONTAINERS:
        raise _unknown_container(shown_name)
    return said


def _refusal(result: ToolResult, shown_name: str) -> MediaError:
    """Why ffprobe could not open it, for a person."""
    if "moov atom not found" in result.stderr:
        return Damaged(
            f"{shown_name} has no table of contents: the recording was not finished, or the copy "
            "was cut short. Copy it from the card again; if the card's file is the same, the "
            "camera's maker may have a repair tool.",
            reason_code="truncated",
        )
    if "not on whitelist" in result.stderr and "Format" in result.stderr:
        return _unknown_container(shown_name)
    if coded := re.search(r"Codec \((\w+)\) not on whitelist", result.stderr):
        return _other_codec(coded[1], shown_name)
    if "exceeds specified max pixel count" in result.stderr:
        return TooLarge(
            f"{shown_name} has pictures with more pixels than are taken in: record in 4K or less."
        )
    if "max_streams" in result.stderr:
        return TooLarge(f"{shown_name} holds more streams than a camera writes.")
    return Damaged(
        f"{shown_name} is not a video that can be read: it is another kind of file, or damaged. "
        "Copy it from the card again."
    )


def _unknown_container(shown_name: str) -> Unsupported:
    return Unsupported(
        f"{shown_name} is no container that Sidelane takes in (MP4 or MOV, MPEG-TS, MPEG program "
        "stream, AVI, ASF, Matroska): bring in the camera's own files.",
        reason_code="container",
    )


def _other_codec(codec: str, shown_name: str) -> Unsupported:
    return Unsupported(
        f"{shown_name} is coded as {codec}, which Sidelane does not take in: convert it to "
        "H.264 with AAC sound in MP4, at the same frame rate.",
        reason_code="codec",
    )


def _only_video(said: dict[str, Any], shown_name: str, limits: Limits) -> dict[str, Any]:
    """The video stream, after the caps and the allow-list."""
    streams = said.get("streams", [])
    if len(streams) > limits.max_streams:
        raise TooLarge(f"{shown_name} holds {len(streams)} streams, more than a camera writes.")
    videos = [s for s in streams if s.get("codec_type") == "video" and not _is_cover(s)]
    if not videos:
        raise Unsupported(
            f"{shown_name} holds no moving picture (sound only?): bring in the video files.",
            reason_code="no-video",
        )
    video = videos[0]
    codec = video.get("codec_name", "unknown")
    if codec not in VIDEO_CODECS:
        raise _other_codec(codec, shown_name)
    width, height = int(video.get("width", 0)), int(video.get("height", 0))
    if width * height > limits.max_pixels:
        raise TooLarge(
            f"{shown_name} has pictures of {width}x{height}, more than "
            f"{limits.max_pixels / 1e6:.0f} million pixels: record in 4K or less."
        )
    if _duration_s(said, video) > limits.max_duration_s:
        raise TooLarge(
            f"{shown_name} says it is longer than {limits.max_duration_s / 3600:.0f} h: "
            "let the camera split its recordings, or cut it into parts."
        )
    return video


def _is_cover(stream: dict[str, Any]) -> bool:
    return bool(stream.get("disposition", {}).get("attached_pic"))


@dataclass(frozen=True)
class _Sample:
    """The first decoded pictures: their PTS, scan, size, and the time base they are given in."""

    pts: list[int]
    scans: Counter[str]
    sizes: set[tuple[int, int]]
    time_base: Fraction


def _decode_start(
    path: Path,
    said: dict[str, Any],
    video: dict[str, Any],
    shown_name: str,
    limits: Limits,
    require_sandbox: bool,
) -> _Sample:
    """Decode the first pictures, as rendering would: this is what proves that there is a film."""
    demuxer = CONTAINERS[said["format"]["format_name"]][1]
    argv = ["ffmpeg", "-nostdin", "-hide_banner", "-nostats", "-v", "info", "-copyts"]
    argv += ["-f", demuxer, *as_argv(guarded_open(limits)), "-i", input_token(0)]
    argv += ["-map", f"0:{video['index']}", "-vf", "showinfo=checksum=0"]
    argv += ["-frames:v", str(SAMPLE_FRAMES), "-fps_mode", "passthrough", "-f", "null", "-"]
    result = run_tool(
        argv,
        inputs=[path],
        limits=limits,
        require_sandbox=require_sandbox,
        wall_s=limits.probe_wall_s,
        stderr_kept_bytes=STDERR_KEPT_BYTES,
    )
    shown = _SHOWN.findall(result.stderr)
    base = _SHOWN_BASE.search(result.stderr)
    pts = [int(row[1]) for row in shown if row[1] != "NOPTS"]
    if base is None or not pts:
        raise Damaged(
            f"{shown_name} holds no picture that can be decoded: it is cut short or damaged. "
            "Copy it from the card again."
        )
    if len(pts) < 2:
        raise Damaged(
            f"{shown_name} holds a single picture, no film: the recording was cut short. "
            "Copy it from the card again.",
            reason_code="too-short",
        )
    return _Sample(
        pts=pts,
        scans=Counter(row[4] for row in shown),
        sizes={(int(row[2]), int(row[3])) for row in shown},
        time_base=Fraction(int(base[1]), int(base[2])),
    )


def _facts(path: Path, said: dict[str, Any], video: dict[str, Any], sample: _Sample) -> FileFacts:
    container, demuxer = CONTAINERS[said["format"]["format_name"]]
    audio = _usable_audio(said)
    coded_width, coded_height = int(video["width"]), int(video["height"])
    sar = _sample_aspect(video)
    rotation_deg, mirrored = _orientation(video)
    width, height = max(1, round(coded_width * sar)), coded_height
    if rotation_deg % 180:
        width, height = height, width
    average = _rate(video.get("avg_frame_rate")) or _sample_rate(sample)
    nominal = _rate(video.get("r_frame_rate")) or average
    tags = _tags(said, video)
    return FileFacts(
        container=container,
        demuxer=demuxer,
        size_bytes=path.stat().st_size,
        duration_s=_duration_s(said, video),
        start_s=float(said["format"].get("start_time", 0.0)),
        video_end_s=_video_end_s(said, video),
        stream_count=len(said["streams"]),
        video_index=int(video["index"]),
        video_codec=video["codec_name"],
        coded_width=coded_width,
        coded_height=coded_height,
        width=width,
        height=height,
        sar_num=sar.numerator,
        sar_den=sar.denominator,
        rotation_deg=rotation_deg,
        mirrored=mirrored,
        field_order=_field_order(sample.scans),
        fps_num=average.numerator,
        fps_den=average.denominator,
        r_fps_num=nominal.numerator,
        r_fps_den=nominal.denominator,
        time_base_num=sample.time_base.numerator,
        time_base_den=sample.time_base.denominator,
        first_pts=sample.pts[0],
        pix_fmt=video.get("pix_fmt", "unknown"),
        bit_depth=_bit_depth(video),
        color_space=_known(video.get("color_space")),
        color_range=_known(video.get("color_range")),
        has_audio=audio is not None,
        audio_index=int(audio["index"]) if audio else None,
        audio_codec=audio.get("codec_name") if audio else None,
        audio_channels=int(audio["channels"]) if audio else None,
        audio_rate_hz=int(audio["sample_rate"]) if audio else None,
        created_at=tags.get("creation_time"),
        make=tags.get("com.apple.quicktime.make") or tags.get("make"),
        model=tags.get("com.apple.quicktime.model") or tags.get("model"),
    )


def _usable_audio(said: dict[str, Any]) -> dict[str, Any] | None:
    """The first sound stream that can be decoded; sound in another codec counts as none."""
    for stream in said["streams"]:
        if (
            stream.get("codec_type") == "audio"
            and stream.get("codec_name") in AUDIO_CODECS
            and int(stream.get("sample_rate", 0)) > 0
            and int(stream.get("channels", 0)) > 0
        ):
            return stream
    return None


def _duration_s(said: dict[str, Any], video: dict[str, Any]) -> float:
    return float(said["format"].get("duration") or video.get("duration") or 0.0)


def _video_end_s(said: dict[str, Any], video: dict[str, Any]) -> float:
    """Where the picture ends on the file's own clock; the container's end if it says no more."""
    start_s = float(video.get("start_time") or said["format"].get("start_time") or 0.0)
    return start_s + float(video.get("duration") or said["format"].get("duration") or 0.0)


def _rate(text: str | None) -> Fraction | None:
    try:
        rate = Fraction(text or "0")
    except (ValueError, ZeroDivisionError):
        return None
    return rate if 0 < rate <= 1000 else None


def _sample_rate(sample: _Sample) -> Fraction:
    """Rate of the first pictures, for containers that do not say."""
    span = (max(sample.pts) - min(sample.pts)) * sample.time_base
    if span <= 0:
        return Fraction(25)
    return ((len(sample.pts) - 1) / span).limit_denominator(1001)


def _sample_aspect(video: dict[str, Any]) -> Fraction:
    """Width of one coded pixel over its height; nonsense counts as square."""
    num, _, den = str(video.get("sample_aspect_ratio", "1:1")).partition(":")
    try:
        aspect = Fraction(int(num), int(den))
    except (ValueError, ZeroDivisionError):
        return Fraction(1)
    return aspect if Fraction(1, 4) <= aspect <= 4 else Fraction(1)


_ORIENTATIONS = {
    (1, 0, 0, 1): (0, False),
    (0, 1, -1, 0): (90, False),
    (-1, 0, 0, -1): (180, False),
    (0, -1, 1, 0): (270, False),
    (-1, 0, 0, 1): (0, True),
    (0, 1, 1, 0): (90, True),
    (1, 0, 0, -1): (180, True),
    (0, -1, -1, 0): (270, True),
}
"""Signs of a display matrix (a, b, c, d): clockwise turn, then flipped left to right or not."""


def _orientation(video: dict[str, Any]) -> tuple[int, bool]:
    for data in video.get("side_data_list", []):
        if "displaymatrix" not in data:
            continue
        numbers = [
            int(n) for n in re.findall(r"(?<![\da-fA-F:])-?\d+(?!\d*:)", data["displaymatrix"])
        ]
        if len(numbers) == 9:
            a, b, c, d = (_sign(numbers[at]) for at in (0, 1, 3, 4))
            return _ORIENTATIONS.get((a, b, c, d), (0, False))
    return 0, False


def _sign(value: int) -> int:
    """Of a 16.16 number: 0 below a half, since a rotation by nearly 90 degrees counts as such."""
    return 0 if abs(value) < 1 << 15 else (1 if value > 0 else -1)


def _field_order(scans: Counter[str]) -> str:
    """By the pictures themselves: what the container says of it is often missing or wrong."""
    interlaced = scans["T"] + scans["B"]
    if interlaced <= scans["P"]:
        return "progressive"
    return "tff" if scans["T"] >= scans["B"] else "bff"


def _bit_depth(video: dict[str, Any]) -> int:
    if said := int(video.get("bits_per_raw_sample") or 0):
        return said
    found = re.search(r"p(9|10|12|14|16)(le|be)$", video.get("pix_fmt", ""))
    return int(found[1]) if found else 8


def _known(text: str | None) -> str | None:
    return None if text in (None, "", "unknown", "unspecified", "reserved") else text


def _tags(said: dict[str, Any], video: dict[str, Any]) -> dict[str, str]:
    """Tags of the file over those of the stream, names in lower case, values cut to 200."""
    merged = {**video.get("tags", {}), **said["format"].get("tags", {})}
    return {name.lower(): str(value)[:200] for name, value in merged.items()}
