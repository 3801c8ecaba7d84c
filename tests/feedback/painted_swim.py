"""A swim of the cast with real clips, whose every picture carries its frame's number.

Made once for all tests of a run: two recordings (one with even, one with uneven frames) are
drawn, encoded, indexed, and cut by the renderer that the portal uses.
"""

from __future__ import annotations

import io
import subprocess
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from clinics.management.demo import painted
from clinics.media.index import index_take, save_frame_table
from clinics.media.probe import probe
from clinics.media.render import RenderedClip, render_clip
from clinics.media.render_plan import RenditionSpec
from clinics.media.take import Take
from clinics.models import Clip, ClipFile
from tests.cast import Cast, make_stored

WIDTH_PX, HEIGHT_PX, FPS = 640, 360, 25
# per clip of the cast's Tomas: which station, first frame in its recording
CUTS = (("start-side", 475), ("underwater", 675), ("underwater", 1200))
FRAMES = {"start-side": 580, "underwater": 1305}
# Uneven frames as a phone makes them: 0 to 24 ms late, in turn. In 1/90000 s.
LATE_TICKS = {"start-side": (0,), "underwater": (0, 1080, 2160)}


def true_ticks(station: str) -> NDArray[np.int64]:
    """PTS of every frame of a recording, as it was drawn: the outside truth."""
    numbers = np.arange(FRAMES[station])
    late = np.array(LATE_TICKS[station])
    return (numbers * (90_000 // FPS) + late[numbers % len(late)]).astype(np.int64)


def _backdrop(station: str) -> NDArray[np.uint8]:
    light, dark = (
        ((143, 178, 184), (47, 127, 142))
        if station == "start-side"
        else (
            (15, 76, 99),
            (10, 50, 68),
        )
    )
    rows = np.linspace(0, 1, HEIGHT_PX)[:, None, None]
    colours = np.array(light) * (1 - rows) + np.array(dark) * rows
    return np.broadcast_to(colours, (HEIGHT_PX, WIDTH_PX, 3)).astype(np.uint8)


def _picture(backdrop: NDArray[np.uint8], number: int) -> bytes:
    image = Image.fromarray(backdrop)
    pen = ImageDraw.Draw(image)
    x = 40 + number * 9 % (WIDTH_PX - 240)
    pen.line([(x, 200), (x + 130, 200), (x + 180, 172)], fill=(202, 160, 132), width=22)
    pen.ellipse([x + 118, 190, x + 154, 226], fill=(181, 56, 15))
    frame = np.asarray(image).copy()
    painted.paint(frame, number)
    return frame.tobytes()


def draw_recording(path: Path, station: str) -> None:
    late = LATE_TICKS[station]
    cycle = "+".join(f"eq(mod(N\\,{len(late)})\\,{n})*{ticks}" for n, ticks in enumerate(late))
    command = (
        f"ffmpeg -v error -y -f rawvideo -pix_fmt rgb24 -s {WIDTH_PX}x{HEIGHT_PX} -r {FPS} -i -"
    ).split() + [
        "-vf",
        f"settb=1/90000,setpts=N*3600+{cycle}",
        *(
            "-fps_mode passthrough -enc_time_base 1/90000 -c:v libx264 -preset ultrafast -crf 16"
            " -g 25 -bf 0 -pix_fmt yuv420p -video_track_timescale 90000"
        ).split(),
        str(path),
    ]
    with subprocess.Popen(command, stdin=subprocess.PIPE) as ffmpeg:
        assert ffmpeg.stdin
        backdrop = _backdrop(station)
        for number in range(FRAMES[station]):
            ffmpeg.stdin.write(_picture(backdrop, number))
        ffmpeg.stdin.close()
    assert ffmpeg.returncode == 0


@dataclass(frozen=True)
class Film:
    """What was rendered: per clip, and per station the list of frames that indexing found."""

    clips: tuple[RenderedClip, ...]
    ticks: dict[str, NDArray[np.int64]]


def make_film(folder: Path) -> Film:
    takes, ticks = {}, {}
    for station in FRAMES:
        path = folder / f"{station}.mp4"
        draw_recording(path, station)
        takes[station] = Take((path,), (probe(path, shown_name=path.name),))
        (folder / f"{station}-index").mkdir()
        index = index_take(takes[station], work_dir=folder / f"{station}-index")
        ticks[station] = index.frame_pts
        assert np.array_equal(ticks[station], true_ticks(station))
    clips = []
    for number, (station, first) in enumerate(CUTS):
        out, work = folder / f"out{number}", folder / f"work{number}"
        out.mkdir()
        work.mkdir()
        clips.append(
            render_clip(
                takes[station],
                ticks[station],
                first,
                100,
                renditions=[RenditionSpec(360), RenditionSpec(180)],
                out_dir=out,
                work_dir=work,
            )
        )
    return Film(tuple(clips), ticks)


def put_film(cast: Cast, film: Film) -> list[Clip]:
    """The cast's Tomas with real files instead of stand-ins."""
    for station, ticks in film.ticks.items():
        recording = cast.recordings[station]
        recording.frame_table = _table(cast, ticks, "frame-table")
        recording.frame_count = len(ticks)
        recording.save()
    for clip, rendered, (station, first) in zip(cast.clips["tomas"], film.clips, CUTS, strict=True):
        ticks = film.ticks[station]
        clip.first_frame, clip.in_ticks = first, int(ticks[first])
        clip.out_ticks = int(ticks[first + 100])
        clip.save()
        clip.files.all().delete()
        for file in rendered.files:
            ClipFile.objects.create(
                clip=clip,
                kind=file.kind,
                height=file.height,
                width=file.width,
                stored=make_stored(
                    cast.harbour, file.path.read_bytes(), kind=file.kind, suffix=file.path.suffix
                ),
                pts_table=_table(cast, file.frame_pts, "pts-table")
                if file.frame_pts is not None
                else None,
            )
    return cast.clips["tomas"]


def _table(cast: Cast, ticks: NDArray[np.int64], kind: str) -> object:
    stored = make_stored(cast.harbour, b"-", kind=kind, suffix=".table")
    save_frame_table(stored.local_path(), ticks)
    return stored


def number_on(picture: bytes) -> int | None:
    """The frame number painted in a screenshot (PNG), or None."""
    return painted.read(np.asarray(Image.open(io.BytesIO(picture)).convert("L")))
