"""Films of a phone that shows the slate, with imposed truth: what light was when where.

The phone shows each code from its instant on (plus `display_late_ms`, at its own refresh); the
camera at `zero_ms` of clinic time begins its first picture, and each picture (each field, if
interlaced) is the mean of what was shown while its shutter was open, the middle of which is the
picture's own time unless said otherwise.
"""

from __future__ import annotations

import subprocess
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

import numpy as np
import segno
from numpy.typing import NDArray
from scipy import ndimage

from clinics.compute.slate import PERIOD_MS, SlateCode, format_code, index_at

Picture = NDArray[np.float32]


@dataclass(frozen=True)
class Scene:
    """What stands before the camera, and how the camera sees it. `side_px`: the code with its
    quiet zone. `tilt_deg`: turned in the picture and away from the camera by that much."""

    zero_ms: float
    clinic: str = "K2TQ"
    u_ms: int = 12
    tone_u_ms: int | None = None
    from_s: float = 0.5
    to_s: float = 2.5
    fps: float = 25.0
    size: tuple[int, int] = (640, 360)
    side_px: float = 170.0
    tilt_deg: float = 0.0
    blur_px: float = 0.6
    glare: float = 0.0
    noise: float = 0.012
    exposure_ms: float = 8.0
    exposure_begins: float = -0.5
    """When the shutter opens, as a share of the exposure: -0.5 puts its middle at the time."""
    refresh_ms: float = 1000 / 60
    display_late_ms: float = 0.0
    rate: float = 1.0
    """Seconds of the recording for one second of the clinic: 4 for stretched slow motion."""


@lru_cache(maxsize=4096)
def modules(text: str) -> NDArray[np.bool_]:
    """White modules of a code with its quiet zone, by an encoder of its own (segno)."""
    code = segno.make(text, version=1, error="m", mode="alphanumeric", boost_error=False)
    return np.array([[not dark for dark in row] for row in code.matrix_iter(border=4)])


def shown_index(scene: Scene, at_ms: float) -> int:
    """Number of the code that gives light at an instant: the display changes at its refreshes."""
    refresh = np.floor((at_ms - scene.display_late_ms) / scene.refresh_ms) * scene.refresh_ms
    return index_at(refresh + scene.refresh_ms / 2)


def picture(scene: Scene, media_s: float, rng: np.random.Generator) -> NDArray[np.uint8]:
    """The picture whose time is `media_s`."""
    width, height = scene.size
    seen = np.full((height, width), 0.32, dtype=np.float32)
    middle = scene.zero_ms + 1000 * media_s / scene.rate
    if scene.from_s <= media_s < scene.to_s:
        opened = middle + scene.exposure_begins * scene.exposure_ms
        shown: dict[int, int] = {}
        for at_ms in opened + (np.arange(24) + 0.5) / 24 * scene.exposure_ms:
            index = shown_index(scene, at_ms)
            shown[index] = shown.get(index, 0) + 1
        light = sum(_modules_at(scene, index) * (count / 24) for index, count in shown.items())
        seen = _seen(scene, np.asarray(light, dtype=np.float32), seen)
    if scene.blur_px:
        seen = ndimage.gaussian_filter(seen, scene.blur_px)
    if scene.glare:
        yy, xx = np.mgrid[0:height, 0:width].astype(np.float32)
        spot = ((xx - width * 0.47) / 45) ** 2 + ((yy - height * 0.46) / 30) ** 2
        seen = np.clip(seen + scene.glare * np.exp(-spot), 0, 1)
    seen = seen + scene.noise * rng.standard_normal(seen.shape, dtype=np.float32)
    return (np.clip(seen, 0, 1) * 219 + 16).astype(np.uint8)


def _modules_at(scene: Scene, index: int) -> NDArray[np.float32]:
    code = SlateCode(scene.clinic, index * PERIOD_MS, scene.u_ms, scene.tone_u_ms)
    return modules(format_code(code)).astype(np.float32)


def _seen(scene: Scene, light: Picture, behind: Picture) -> Picture:
    """The code turned, tilted away (seen from three widths off) and placed in the middle."""
    inside, row, column = _geometry(scene.size, scene.side_px, scene.tilt_deg, len(light))
    seen = behind.copy()
    seen[inside] = 0.08 + 0.8 * light[row, column]
    return seen


@lru_cache(maxsize=64)
def _geometry(
    size: tuple[int, int], side_px: float, tilt_deg: float, side: int
) -> tuple[NDArray[np.bool_], NDArray[np.int64], NDArray[np.int64]]:
    """Which pixels see the code, and which module each of them sees."""
    width, height = size
    angle = np.deg2rad(tilt_deg)
    yy, xx = np.mgrid[0:height, 0:width].astype(np.float32)
    u, v = (xx - width / 2) / side_px, (yy - height / 2) / side_px
    x = u / (np.cos(angle) - u * np.sin(angle) / 3)
    y = v * (1 + x * np.sin(angle) / 3)
    across, down = np.cos(angle) * x - np.sin(angle) * y, np.sin(angle) * x + np.cos(angle) * y
    column = np.floor((across + 0.5) * side).astype(np.int64)
    row = np.floor((down + 0.5) * side).astype(np.int64)
    inside = (row >= 0) & (row < side) & (column >= 0) & (column < side)
    return inside, row[inside], column[inside]


def pictures(scene: Scene, seconds: float, seed: int = 1) -> Iterator[NDArray[np.uint8]]:
    rng = np.random.default_rng(seed)
    for number in range(round(seconds * scene.fps)):
        yield picture(scene, number / scene.fps, rng)


def interlaced(scene: Scene, seconds: float, seed: int = 1) -> Iterator[NDArray[np.uint8]]:
    """Frames of two fields, upper lines first, each field of its own instant."""
    fields = pictures(replace(scene, fps=2 * scene.fps), seconds, seed)
    for upper in fields:
        lower = next(fields)
        frame = upper.copy()
        frame[1::2] = lower[1::2]
        yield frame


def film(
    path: Path,
    scene: Scene,
    seconds: float,
    *,
    fields: bool = False,
    sound: Path | None = None,
    video: Sequence[str] = ("-c:v", "libx264", "-preset", "veryfast", "-crf", "26", "-g", "25"),
) -> Path:
    """Encode the scene; `sound` is a WAV file to go with it."""
    width, height = scene.size
    argv = ["ffmpeg", "-nostdin", "-v", "error", "-y", "-f", "rawvideo", "-pix_fmt", "gray"]
    argv[1:2] = []  # the pictures come by standard input
    argv += ["-s", f"{width}x{height}", "-r", str(scene.fps), "-i", "pipe:0"]
    argv += ["-i", str(sound)] if sound else []
    argv += ["-vf", ("setfield=tff," if fields else "") + "format=yuv420p", *video]
    argv += ["-flags", "+ilme+ildct", "-x264-params", "interlaced=1:tff=1"] if fields else []
    argv += ["-c:a", "aac", "-b:a", "96k"] if sound else []
    argv += [str(path)]
    made = (interlaced if fields else pictures)(scene, seconds)
    raw = b"".join(frame.tobytes() for frame in made)
    subprocess.run(argv, input=raw, check=True, timeout=120)
    return path
