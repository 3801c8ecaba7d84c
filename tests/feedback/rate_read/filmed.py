"""A drawn swimmer (drawn.py) as a clip of the cast's swim, cut by the renderer the portal uses."""

from __future__ import annotations

import subprocess
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from PIL import Image

from clinics.media.index import index_take
from clinics.media.probe import probe
from clinics.media.render import render_clip
from clinics.media.render_plan import RenditionSpec
from clinics.media.take import Take
from clinics.models import Clip, Swim
from tests.cast import Cast
from tests.feedback.painted_room import LEAD_FRAMES, Camera, Station4, put_room
from tests.feedback.rate_read.drawn import HEIGHT, WIDTH, Drawn, Scene, draw

TIMES = 2  # larger than drawn
PER_S, TAIL_FRAMES = 25, 20
BEGINS_S = 4.0  # swim time of the clip's first picture
CAMERA = Camera("deck", BEGINS_S, 0.0, False, False, ("", ""))
CLEAR = Scene(5, rate=43.0, seconds=11.4, uneven=0.0, far_arm=0.45, noise=2.0, waves=3.0)


@dataclass(frozen=True)
class Filmed:
    station: Station4
    drawn: Drawn

    def rate(self, from_s: float, to_s: float) -> float:
        """Cycles a minute made between seconds of the clip."""
        lead_s = LEAD_FRAMES / PER_S
        return self.drawn.rate_between(lead_s + from_s, lead_s + to_s)

    @property
    def seconds(self) -> float:
        return self.station.frame_count / PER_S


def film(folder: Path, scene: Scene = CLEAR) -> Filmed:
    for name in ("index", "out", "work"):
        (folder / name).mkdir(parents=True)
    drawn, path = draw(scene), folder / "recording.mp4"
    _encode(path, drawn)
    take = Take((path,), (probe(path, shown_name=path.name),))
    ticks = index_take(take, work_dir=folder / "index").frame_pts
    rendered = render_clip(
        take,
        ticks,
        LEAD_FRAMES,
        len(ticks) - LEAD_FRAMES - TAIL_FRAMES,
        renditions=[RenditionSpec(HEIGHT * TIMES)],
        out_dir=folder / "out",
        work_dir=folder / "work",
    )
    return Filmed(Station4(4, CAMERA, ticks, rendered), drawn)


def _encode(path: Path, drawn: Drawn) -> None:
    size = (WIDTH * TIMES, HEIGHT * TIMES)
    argv = f"ffmpeg -v error -y -f rawvideo -pix_fmt gray -s {size[0]}x{size[1]} -r {PER_S} -i -"
    argv += " -c:v libx264 -preset ultrafast -crf 16 -g 25 -bf 0 -pix_fmt yuv420p"
    with subprocess.Popen([*argv.split(), str(path)], stdin=subprocess.PIPE) as ffmpeg:
        assert ffmpeg.stdin
        for grey in drawn.film.grey:
            larger = Image.fromarray(grey).resize(size, Image.Resampling.BILINEAR)
            ffmpeg.stdin.write(np.asarray(larger).tobytes())
        ffmpeg.stdin.close()
    assert ffmpeg.returncode == 0


def put(cast: Cast, filmed: Filmed, swim: Swim | None = None) -> Clip:
    """The clip alone, instead of the swim's stand-ins."""
    (clip,) = put_room(cast, [filmed.station], swim)
    return clip
