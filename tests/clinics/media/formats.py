"""Real-world formats in miniature: how each is made, and what its table must say."""

from __future__ import annotations

import subprocess
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

from tests.media.film import make_film, split_at

FIELDS_5994 = Fraction(60000, 1001)
FRAMES_2997 = Fraction(30000, 1001)
X264 = ("-c:v", "libx264", "-preset", "veryfast", "-crf", "20")


@dataclass(frozen=True)
class Case:
    """A format. ``time_of(n)`` is when picture n is shown, in seconds from the first one."""

    name: str
    make: Callable[[Path], Sequence[Path]]
    count: int
    time_of: Callable[[int], float]
    container: str
    field_order: str = "progressive"
    shown: tuple[int, int] = (640, 360)
    has_sound: bool = True
    first_number: int = 0


def _vfr_time(n: int) -> float:
    """An uneven clock such as cheap cameras have: 16 to 31 frames a second and a gap."""
    wobble = (n * 7 % 5) * 0.004
    return n * 0.04 + wobble + (0.3 if n >= 40 else 0.0)


def _vfr(folder: Path) -> Sequence[Path]:
    clock = "(N*0.04+mod(N*7,5)*0.004+gte(N,40)*0.3)/TB"
    return [
        make_film(
            folder / "vfr.mp4",
            count=90,
            video=(*X264, "-g", "25", "-bf", "2", "-fps_mode", "passthrough"),
            filters=f"settb=1/90000,setpts='{clock}'",
            sound=("-c:a", "aac"),
            sound_s=3.92,
            muxer=("-enc_time_base", "1:90000", "-video_track_timescale", "90000"),
        )
    ]


def _ts_1080i(folder: Path) -> Sequence[Path]:
    whole = make_film(
        folder / "00012.ts",
        count=180,
        size=(1920, 1080),
        fps=FIELDS_5994,
        filters="interlace=scan=tff:lowpass=off",
        video=(*X264, "-flags", "+ilme+ildct", "-x264-params", "tff=1:keyint=15:bframes=2"),
        sound=("-c:a", "ac3"),
        muxer=("-f", "mpegts"),
    )
    return split_at(whole, (0.31, 0.655))


def _ts_50i(folder: Path) -> Sequence[Path]:
    whole = make_film(
        folder / "clip.ts",
        count=150,
        size=(720, 576),
        fps=50,
        filters="interlace=scan=bff:lowpass=off,setsar=16/11",
        video=(*X264, "-flags", "+ilme+ildct", "-x264-params", "bff=1:keyint=12:open-gop=1"),
        sound=("-c:a", "mp2"),
        muxer=("-f", "mpegts"),
    )
    return split_at(whole, (0.5,))


def _mpeg_ps(folder: Path) -> Sequence[Path]:
    return [
        make_film(
            folder / "old.mpg",
            count=180,
            size=(720, 480),
            fps=FIELDS_5994,
            filters="interlace=scan=tff:lowpass=off,setsar=8/9",
            video=("-c:v", "mpeg2video", "-flags", "+ilme+ildct", "-b:v", "6M", "-g", "15",
                   "-bf", "2"),
            sound=("-c:a", "ac3"),
            muxer=("-f", "vob"),
        )
    ]  # fmt: skip


def _turned(
    degrees: int, quarter_turns: int, size: tuple[int, int]
) -> Callable[[Path], list[Path]]:
    def make(folder: Path) -> list[Path]:
        plain = make_film(
            folder / "plain.mov",
            count=60,
            size=size,
            turned=quarter_turns,
            video=(*X264, "-g", "15"),
            sound=("-c:a", "aac"),
        )
        path = folder / "turned.mov"
        argv = ["ffmpeg", "-v", "error", "-y", "-i", str(plain), "-c", "copy"]
        argv += ["-metadata:s:v", f"rotate={degrees}", str(path)]
        subprocess.run(argv, check=True)
        return [path]

    return make


def _plain(name: str, count: int, fps: Fraction | int, *video: str, **more: object) -> Callable:
    def make(folder: Path) -> list[Path]:
        return [make_film(folder / name, count=count, fps=fps, video=video, **more)]  # type: ignore[arg-type]

    return make


def _chapters(folder: Path) -> Sequence[Path]:
    """Three parts of one recording, each with a clock of its own; the sound is a bit longer."""
    parts = []
    for chapter, (first, count) in enumerate(((0, 47), (47, 60), (107, 31)), start=1):
        parts.append(
            make_film(
                folder / f"GX{chapter:02d}0042.MP4",
                count=count,
                first=first,
                fps=FIELDS_5994,
                video=(*X264, "-g", "30", "-bf", "2"),
                sound=("-c:a", "aac"),
                sound_s=float(count / FIELDS_5994) + 0.013,
                muxer=("-metadata", "creation_time=2026-11-14T10:00:00Z", "-f", "mp4"),
            )
        )
    return parts


def _edit_list(folder: Path) -> Sequence[Path]:
    """A film trimmed on the telephone: pictures before the edit list's start never show."""
    whole = make_film(
        folder / "whole.mp4", count=90, video=(*X264, "-g", "20", "-bf", "2"), sound=("-c:a", "aac")
    )
    path = folder / "trimmed.mp4"
    argv = ["ffmpeg", "-v", "error", "-y", "-ss", "0.8", "-i", str(whole), "-c", "copy", str(path)]
    subprocess.run(argv, check=True)
    return [path]


def _begins_in_group(folder: Path) -> Sequence[Path]:
    """A transport stream that begins in the middle of a group: its first pictures never decode."""
    whole = make_film(
        folder / "whole.ts",
        count=90,
        video=(*X264, "-x264-params", "keyint=20:bframes=2:open-gop=1"),
        sound=("-c:a", "ac3"),
        muxer=("-f", "mpegts"),
    )
    return split_at(whole, (0.3,))[1:]


CASES = [
    Case("1080i59.94 MPEG-TS in three files", _ts_1080i, 180, lambda n: n / float(FIELDS_5994),
         "mpegts", "tff", (1920, 1080)),
    Case("50i 16:11 pixels, lower field first", _ts_50i, 150, lambda n: n / 50, "mpegts", "bff",
         (1047, 576)),
    Case("MPEG-2 program stream, 4:3", _mpeg_ps, 180, lambda n: n / float(FIELDS_5994), "mpegps",
         "tff", (640, 480)),
    Case("MOV turned by 90", _turned(90, -1, (640, 360)), 60, lambda n: n / 30, "mp4",
         shown=(360, 640)),
    Case("MOV turned by 180", _turned(180, 2, (640, 360)), 60, lambda n: n / 30, "mp4"),
    Case("variable rate MP4", _vfr, 90, _vfr_time, "mp4"),
    Case("120 frames/s", _plain("fast.mp4", 240, 120, *X264, "-g", "60"), 240, lambda n: n / 120,
         "mp4", has_sound=False),
    Case("240 frames/s HEVC", _plain("faster.mp4", 300, 240, "-c:v", "libx265", "-preset",
         "ultrafast", "-x265-params", "log-level=error:keyint=60"), 300, lambda n: n / 240, "mp4",
         has_sound=False),
    Case("HEVC 10 bits, open groups", _plain("ten.mov", 75, 25, "-c:v", "libx265", "-preset",
         "ultrafast", "-pix_fmt", "yuv420p10le", "-x265-params",
         "log-level=error:keyint=15:open-gop=1", sound=("-c:a", "aac")), 75, lambda n: n / 25,
         "mp4"),
    Case("ASF", _plain("old.wmv", 75, 25, "-c:v", "wmv2", "-b:v", "3M", "-g", "15",
         sound=("-c:a", "wmav2"), muxer=("-f", "asf")), 75, lambda n: round(n * 40) / 1000, "asf"),
    Case("AVI, Motion JPEG", _plain("still.avi", 60, 30, "-c:v", "mjpeg", "-q:v", "3",
         sound=("-c:a", "pcm_s16le")), 60, lambda n: n / 30, "avi"),
    Case("AVI, MPEG-4 with B-frames", _plain("b.avi", 60, 30, "-c:v", "mpeg4", "-q:v", "3",
         "-bf", "2", "-g", "15", sound=("-c:a", "mp3")), 60, lambda n: n / 30, "avi"),
    Case("MP4 in three chapters", _chapters, 138, lambda n: n / float(FIELDS_5994), "mp4"),
    Case("MP4 with an edit list", _edit_list, 66, lambda n: n / 30, "mp4", first_number=24),
    Case("MPEG-TS that begins in a group", _begins_in_group, -1, lambda n: n / 30, "mpegts",
         first_number=-1),
]  # fmt: skip
"""``count`` or ``first_number`` -1: found by decoding the file plainly with ffmpeg."""
