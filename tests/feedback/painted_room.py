"""A swim of the cast from four stations, whose every picture carries its station and its number.

The stations are those of the demo clinic. Their cameras began at different instants, run at
different rates (up to 900 ppm wrong) and have different frame rates: three film 59.94 frames a
second, one 16 to 31. The clips are made by the renderer that the portal uses. Which picture is
right at an instant is known from the numbers here alone (`true_frame`): when each picture was
drawn, and when the camera began; no code under test is asked.
"""

from __future__ import annotations

import datetime as dt
import subprocess
from dataclasses import dataclass
from functools import cached_property, partial
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from django.urls import reverse
from numpy.typing import NDArray

from clinics.management.demo import painted
from clinics.management.demo.occasions import AUTUMN, DemoStation
from clinics.media.index import index_take
from clinics.media.probe import probe
from clinics.media.render import RenderedClip, render_clip
from clinics.media.render_plan import RenditionSpec
from clinics.media.take import Take
from clinics.models import Clip, ClipFile, Station, Swim
from tests.cast import Cast, make_recording, make_station, make_stored
from tests.feedback.painted_swim import _table
from tests.once import once_a_run

TICKS_PER_S = 90_000
LEAD_FRAMES = 40
"""So many pictures of a recording come before its clip's first one."""
MARK = 1_000_000
"""Painted on picture n of station k: k million and n."""
UNEVEN = np.random.default_rng(16).integers(TICKS_PER_S // 31 + 1, TICKS_PER_S // 16, 16)
"""How long the pictures of the uneven camera last, in turn: as a phone in poor light."""


@dataclass(frozen=True)
class Camera:
    """`begins_s`: swim time of its clip's first picture; `rate_ppm`: how wrong its clock runs;
    `colours` of its water; `share`: its clip lasts this part of the longest."""

    slug: str
    begins_s: float
    rate_ppm: float
    uneven: bool
    sound: bool
    colours: tuple[str, str]
    share: float = 1.0

    @property
    def station(self) -> DemoStation:
        return next(one for one in AUTUMN.stations if one.slug == self.slug)


CAMERAS = (
    Camera("start-side", -0.637, 900.0, False, True, ("0x8fb2b8", "0x2f7f8e")),
    Camera("underwater", -0.411, -640.0, False, False, ("0x0f4c63", "0x0a3244")),
    Camera("turn-window", 0.083, 35.0, True, False, ("0x1c6b80", "0x0c3f55"), share=0.75),
    Camera("deck", -0.250, -118.0, False, True, ("0xa8c4c4", "0x4a8c98")),
)


def true_ticks(camera: Camera, count: int) -> NDArray[np.int64]:
    """PTS of the first pictures of a recording, as they were drawn."""
    numbers = np.arange(count, dtype=np.int64)
    if not camera.uneven:
        return numbers * 3003 // 2  # 60000/1001 a second, in whole ticks
    until = np.concatenate([[0], np.cumsum(UNEVEN)])
    return numbers // len(UNEVEN) * until[-1] + until[numbers % len(UNEVEN)]


@dataclass(frozen=True)
class Station4:
    """One of the four: its camera, its clip, and the truth about its pictures."""

    number: int
    camera: Camera
    ticks: NDArray[np.int64]
    """PTS of all pictures of the recording."""
    rendered: RenderedClip

    @property
    def frame_count(self) -> int:
        return self.rendered.frame_count

    @property
    def zero_s(self) -> float:
        """Swim time of the recording's first picture."""
        return self.camera.begins_s - int(self.ticks[LEAD_FRAMES]) / TICKS_PER_S * self._rate

    @property
    def _rate(self) -> float:
        return 1.0 + self.camera.rate_ppm * 1e-6

    @cached_property
    def edges_s(self) -> NDArray[np.float64]:
        """Swim time at which each picture of the clip begins, and at which the last one ends.

        The last one is taken to last as long as the one before it.
        """
        own = self.ticks[LEAD_FRAMES : LEAD_FRAMES + self.frame_count].astype(np.float64)
        own = np.append(own, 2 * own[-1] - own[-2])
        return self.zero_s + own / TICKS_PER_S * self._rate

    def true_frame(self, at_s: float) -> int | None:
        """Which picture of the clip is right at an instant; None: it does not reach it."""
        frame = int(np.searchsorted(self.edges_s, at_s, side="right")) - 1
        return frame if 0 <= frame < self.frame_count else None

    def frame_of(self, value: int | None) -> int | None:
        """The picture of the clip that wears this painted number; None: none of this station."""
        if value is None or value // MARK != self.number:
            return None
        return value % MARK - LEAD_FRAMES

    def excess_s(self, frame: int, at_s: float) -> float:
        """How far from an instant a shown picture's own span is. 0: it holds that instant."""
        return max(self.edges_s[frame] - at_s, at_s - self.edges_s[frame + 1], 0.0)


def least_excess_s(shown: list[tuple[Station4, int]]) -> float:
    """How far shown pictures are from sharing one instant (0: all could be right at once)."""
    latest = max(station.edges_s[frame] for station, frame in shown)
    earliest = min(station.edges_s[frame + 1] for station, frame in shown)
    return max(0.0, float(latest - earliest))


@dataclass(frozen=True)
class Paper:
    """Size of the recordings' pictures, and how grainy their water is (what makes films heavy)."""

    width: int = 640
    height: int = 360
    grain: int = 3


def _draw(path: Path, number: int, camera: Camera, ticks: Any, paper: Paper) -> None:
    """A recording: moving water with some grain, and the painted row over its top."""
    width, height = paper.width, paper.height
    row_px = painted.strip_height_px(width)
    colours = "c0={}:c1={}".format(*camera.colours)
    box = f"y={height // 2}:w=110:h=26:c=0xb5380f:t=fill"
    cycle = len(UNEVEN)
    if camera.uneven:
        until = np.concatenate([[0], np.cumsum(UNEVEN)])
        places = "+".join(f"eq(mod(N\\,{cycle})\\,{n})*{until[n]}" for n in range(cycle))
        times = f"floor(N/{cycle})*{until[-1]}+{places}"
    else:
        times = "floor(N*3003/2)"
    graph = (
        f"gradients=s=64x36:r=60:{colours}:seed=7:speed=0.02,format=yuv420p,"
        f"scale={width}:{height}:flags=bilinear,noise=c0s={paper.grain}:c0f=t,"
        f"drawbox=x=mod(t*{width // 4}\\,{width - 120}):{box}"
        f"[water];[water][0:v]overlay=0:0:shortest=1,settb=1/90000,setpts={times}[out]"
    )
    argv = f"ffmpeg -v error -y -f rawvideo -pix_fmt gray -s {width}x{row_px} -r 60 -i -".split()
    seconds = int(ticks[-1]) / TICKS_PER_S
    if camera.sound:
        argv += ["-f", "lavfi", "-i", f"sine=f=620:beep_factor=2:r=48000:d={seconds:.3f}"]
    argv += ["-filter_complex", graph, "-map", "[out]"]
    argv += ["-map", "1:a", "-c:a", "aac"] if camera.sound else []
    argv += (
        "-fps_mode passthrough -enc_time_base 1/90000 -c:v libx264 -preset ultrafast -crf 16"
        " -g 25 -bf 0 -pix_fmt yuv420p -video_track_timescale 90000"
    ).split()
    with subprocess.Popen([*argv, str(path)], stdin=subprocess.PIPE) as ffmpeg:
        assert ffmpeg.stdin
        row = np.zeros((row_px, width), dtype=np.uint8)
        for frame in range(len(ticks)):
            painted.paint(row, number * MARK + frame)
            ffmpeg.stdin.write(row.tobytes())
        ffmpeg.stdin.close()
    assert ffmpeg.returncode == 0


def make_room(
    folder: Path,
    *,
    seconds: float = 8.0,
    paper: Paper = Paper(),
    heights: tuple[int, ...] = (360, 180),
) -> list[Station4]:
    """Draws, indexes and cuts the four recordings."""
    stations = []
    for number, camera in enumerate(CAMERAS, start=1):
        own = folder / camera.slug
        for name in ("index", "out", "work"):
            (own / name).mkdir(parents=True)
        many = true_ticks(camera, 100 + int(seconds * 60))
        lasts = int(seconds * camera.share * TICKS_PER_S)
        count = int(np.searchsorted(many, many[LEAD_FRAMES] + lasts)) - LEAD_FRAMES
        ticks = many[: LEAD_FRAMES + count + 20]
        path = own / "recording.mp4"
        _draw(path, number, camera, ticks, paper)
        take = Take((path,), (probe(path, shown_name=path.name),))
        found = index_take(take, work_dir=own / "index")
        assert np.array_equal(found.frame_pts, ticks)
        rendered = render_clip(
            take,
            found.frame_pts,
            LEAD_FRAMES,
            count,
            renditions=[RenditionSpec(height) for height in heights],
            out_dir=own / "out",
            work_dir=own / "work",
        )
        stations.append(Station4(number, camera, ticks, rendered))
    return stations


def room_of_run(factory: pytest.TempPathFactory, seconds: float) -> list[Station4]:
    """As `make_room`, once a run; nobody changes it (`put_room` copies)."""
    return once_a_run(factory, f"room-{seconds:g}", partial(make_room, seconds=seconds))


def put_room(cast: Cast, stations: list[Station4], swim: Swim | None = None) -> list[Clip]:
    """A swim of the cast (Tomas's) with these four views instead of its stand-ins."""
    swim = swim or cast.swims["tomas"]
    swim.clips.all().delete()
    return [_put(cast, swim, one) for one in stations]


def _station(cast: Cast, camera: Camera, order: int) -> Station:
    known = {"start-side": cast.start_side, "underwater": cast.underwater}
    if camera.slug in known:
        return known[camera.slug]
    old = Station.objects.filter(clinic=cast.clinic, slug=camera.slug).first()
    name = camera.station.name
    return old or make_station(cast.clinic, order, camera.slug, name, camera.slug)


def _put(cast: Cast, swim: Swim, one: Station4) -> Clip:
    station = _station(cast, one.camera, one.number)
    zero_at = swim.start_at + dt.timedelta(seconds=one.zero_s)
    recording = make_recording(station, cast.crew, zero_at=zero_at, frames=10)
    recording.frame_table = _table(cast, one.ticks, "frame-table")
    recording.frame_count, recording.has_sound = len(one.ticks), one.camera.sound
    recording.save()
    recording.clock_fit.rate_ppm = one.camera.rate_ppm
    recording.clock_fit.save()
    end = LEAD_FRAMES + one.frame_count
    clip = Clip.objects.create(
        swim=swim,
        station=station,
        pass_no=1,
        recording=recording,
        in_ticks=int(one.ticks[LEAD_FRAMES]),
        out_ticks=int(one.ticks[end]),
        first_frame=LEAD_FRAMES,
        frame_count=one.frame_count,
        seen_from_s=float(one.edges_s[0]) + 0.5,
        seen_to_s=float(one.edges_s[-1]) - 0.5,
        time_state="sure",
        state="ready",
        rendered_at=swim.start_at,
    )
    for file in one.rendered.files:
        starts_at_s = one.rendered.sound_offset_s if file.kind == "sound" else 0
        content = file.path.read_bytes()
        stored = make_stored(cast.harbour, content, kind=file.kind, suffix=file.path.suffix)
        ClipFile.objects.create(
            clip=clip,
            kind=file.kind,
            height=file.height,
            width=file.width,
            stored=stored,
            pts_table=_table(cast, file.frame_pts, "pts-table")
            if file.frame_pts is not None
            else None,
            starts_at_ticks=round((starts_at_s or 0) * TICKS_PER_S),
        )
    return clip


def for_engine(clip: Clip, one: Station4) -> dict[str, Any]:
    """What the page tells its script about a view, put together from the truth."""
    files = list(clip.files.select_related("stored"))
    videos = sorted((f for f in files if f.kind == "video"), key=lambda file: file.height or 0)
    sound = next((file for file in files if file.kind == "sound"), None)
    return {
        "key": str(clip.pk),
        "name": clip.station.name,
        "renditions": [
            {
                "height": video.height,
                "width": video.width,
                "size_bytes": video.stored.size_bytes,
                "url": reverse("clinics:clip-file", args=[video.pk]),
                "frames": reverse("clinics:clip-file-frames", args=[video.pk]),
            }
            for video in videos
        ],
        "sound": sound
        and {
            "url": reverse("clinics:clip-file", args=[sound.pk]),
            "starts_at_s": sound.starts_at_ticks / TICKS_PER_S,
        },
        "zero_s": one.zero_s,
        "rate": 1.0 + one.camera.rate_ppm * 1e-6,
        "first_ticks": int(one.ticks[LEAD_FRAMES]),
        "frame_count": one.frame_count,
    }
