"""A clinic as it comes from cutting, with pictures in which a person can see who is who: each
swimmer has a cap of an own colour and holds a number card up before the start.

The clips are made cheaply: two painted pictures each, turned into four seconds of video.
"""

from __future__ import annotations

import datetime as dt
import io
import subprocess
from pathlib import Path

from PIL import Image, ImageDraw, ImageFont

from clinics.models import Clip, LaneGroup, Station, Swim
from tests.cast import FIRST_START, Cast, make_clip, make_entry, make_recording, make_swim

CAPS = ["#e5a900", "#b5380f", "#7cc7d3", "#79d2a4", "#c9a0dc", "#f4f1e8", "#3b5ba5", "#111111"]
NAMES = ["Ada Quill", "Bo Tarn", "Cleo Marsh", "Dag Holm", "Edie Lowe", "Finn Orme"]
SIZE = (640, 360)


def make_board(cast: Cast, folder: Path, *, more: int = 4, swapped: bool = True) -> list[Swim]:
    """The cast's clinic with `more` swims than Tomas's and Wren's, nothing checked, and clips
    that can be played. `swapped`: who logged the starts took Wren for Tomas and Tomas for Wren."""
    Swim.objects.filter(entry__clinic=cast.clinic).update(
        person="unconfirmed", others_recorded_at=None, passed_at=None, given_at=None
    )
    stations = _two_more_stations(cast)
    swims = [cast.swims["tomas"], cast.swims["wren"]]
    second, _made = LaneGroup.objects.get_or_create(clinic=cast.clinic, name="B", order=2)
    for n in range(more):
        entry = make_entry(cast.clinic, NAMES[n % len(NAMES)], 11 + n, None, "")
        if n >= more // 2:
            entry.lane_group = second
            entry.save()
        swim = make_swim(entry, FIRST_START + dt.timedelta(seconds=120 + 24 * n))
        swims.append(swim)
        for slug, pass_no, from_s in (("start-side", 1, -1.0), ("underwater", 1, 7.0)):
            make_clip(swim, cast.recordings[slug], pass_no, from_s=from_s)
    for swim in swims:
        for station in stations:
            make_clip(swim, cast.recordings[station.slug], 1, from_s=14.0)
    shown = [swims[1], swims[0], *swims[2:]] if swapped else swims
    for swim, body in zip(swims, shown, strict=True):
        _paint(swim, body.entry.number, folder)
    return swims


def _two_more_stations(cast: Cast) -> list[Station]:
    stations = []
    for order, slug, name, kind in (
        (3, "turn-window", "Turn window", "turn-window"),
        (4, "deck", "Deck", "deck"),
    ):
        station = Station.objects.create(
            clinic=cast.clinic,
            order=order,
            slug=slug,
            name=name,
            kind=kind,
            x_m=25.0 if kind == "turn-window" else 12.0,
            y_m=-3.0,
            z_m=-0.5,
            hears_start=False,
        )
        zero_at = FIRST_START - dt.timedelta(seconds=20)
        cast.recordings[slug] = make_recording(station, cast.crew, zero_at=zero_at, frames=9000)
        stations.append(station)
    return stations


def picture(number: int, kind: str, *, card: bool, lean: float = 0.0) -> Image.Image:
    """The body whose number this is, as that kind of station has it."""
    water = {"underwater": "#0f4c63", "turn-window": "#155e6e"}.get(kind, "#8fb2b8")
    image = Image.new("RGB", SIZE, water)
    draw = ImageDraw.Draw(image)
    draw.line((0, 300, 640, 300), fill="#d8ecef", width=6)
    x, y = 240 + 160 * lean, 150 + 60 * lean
    draw.line((x, y, x + 190, y + 70), fill="#d9a47d", width=40)
    draw.ellipse((x - 52, y - 46, x + 30, y + 36), fill=CAPS[number % len(CAPS)], outline="#10242e")
    if card:
        draw.rectangle((x + 30, y + 40, x + 200, y + 170), fill="#fbfcfa", outline="#10242e")
        font = ImageFont.load_default(96)
        draw.text((x + 115, y + 105), str(number), font=font, fill="#10242e", anchor="mm")
    return image


def _paint(swim: Swim, number: int, folder: Path) -> None:
    for clip in Clip.objects.filter(swim=swim).select_related("station"):
        kind = clip.station.kind
        start = kind == "start-side"
        steps = [picture(number, kind, card=start and n < 3, lean=n / 10) for n in range(10)]
        _put(clip, "poster", _jpeg(steps[5]))
        strip = Image.new("RGB", (1600, 90))
        for n, still in enumerate(steps):
            strip.paste(still.resize((160, 90)), (160 * n, 0))
        _put(clip, "strip", _jpeg(strip))
        _put(clip, "video", _video(steps[0], steps[5], folder))


def _put(clip: Clip, kind: str, content: bytes) -> None:
    clip.files.get(kind=kind).stored.local_path().write_bytes(content)


def _jpeg(image: Image.Image) -> bytes:
    out = io.BytesIO()
    image.save(out, "JPEG", quality=85)
    return out.getvalue()


def _video(first: Image.Image, then: Image.Image, folder: Path) -> bytes:
    """100 pictures at 25 a second: a second of the one, three of the other."""
    names = [folder / "first.png", folder / "then.png"]
    for name, image in zip(names, (first, then), strict=True):
        image.save(name)
    path = folder / "clip.mp4"
    inputs = [
        word
        for name, seconds in zip(names, ("1", "3"), strict=True)
        for word in ("-framerate", "25", "-loop", "1", "-t", seconds, "-i", str(name))
    ]
    codec = ["-c:v", "libx264", "-preset", "ultrafast", "-g", "6", "-bf", "0", "-pix_fmt"]
    join = ["-filter_complex", "concat=n=2:v=1:a=0"]
    words = [*inputs, *join, *codec, "yuv420p", "-movflags", "+faststart", str(path)]
    subprocess.run(["ffmpeg", "-nostdin", "-v", "error", "-y", *words], check=True)
    return path.read_bytes()
