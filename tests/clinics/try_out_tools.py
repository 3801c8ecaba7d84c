"""Short real files for the try-out: a painted pool, a start signal twice, hall noise."""

from __future__ import annotations

import functools
import subprocess
import wave
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageFilter

from clinics.management.demo.backgrounds import VIEWS, background
from clinics.management.demo.sound import horn

RATE_HZ = 48_000
Sound = NDArray[np.float64]


@functools.cache
def wall(blur_px: float = 0.0, size: tuple[int, int] = (1280, 720)) -> Image.Image:
    """The hall as the start camera has it, drawn finely: tiles and signs have edges."""
    picture = background(VIEWS["start-side"], 0).resize(size, Image.Resampling.NEAREST)
    return picture.filter(ImageFilter.GaussianBlur(blur_px)) if blur_px else picture


def hall(
    length_s: float, starts_s: tuple[float, ...], *, loud: float = 0.3, seed: int = 0
) -> Sound:
    """Noise and splashes, with the horn at these media seconds; full scale 1."""
    rng = np.random.default_rng(seed)
    times = np.arange(round(length_s * RATE_HZ)) / RATE_HZ
    sound = 0.004 * rng.standard_normal(len(times))
    for at_s in rng.uniform(0, length_s, round(length_s)):
        begins = round(at_s * RATE_HZ)
        tau = times[begins : begins + round(0.6 * RATE_HZ)] - begins / RATE_HZ
        sound[begins : begins + len(tau)] += (
            0.05 * rng.standard_normal(len(tau)) * np.exp(-tau / 0.08)
        )
    for at_s in starts_s:
        sound += loud * horn(times - at_s)
    return sound


def write_sound(path: Path, sound: Sound) -> Path:
    with wave.open(str(path), "wb") as out:
        out.setnchannels(1)
        out.setsampwidth(2)
        out.setframerate(RATE_HZ)
        out.writeframes((np.clip(sound, -1, 1) * 32767).astype("<i2").tobytes())
    return path


def film(
    path: Path,
    *,
    length_s: float = 13.0,
    sound: Sound | None = None,
    picture: Image.Image | None = None,
    fps: int = 25,
    date: str = "",
    filters: str = "noise=alls=4:allf=t",
    flags: tuple[str, ...] = (),
) -> Path:
    """An MP4 as a camera writes it, key frames every half second."""
    still = path.with_suffix(".png")
    (picture or wall()).save(still)
    argv = ["ffmpeg", "-v", "error", "-y", "-loop", "1", "-framerate", str(fps), "-i", str(still)]
    if sound is not None:
        argv += ["-i", str(write_sound(path.with_suffix(".wav"), sound))]
    argv += ["-t", str(length_s), "-vf", f"{filters},format=yuv420p"]
    argv += ["-c:v", "libx264", "-preset", "ultrafast", "-crf", "20", "-g", str(max(fps // 2, 1))]
    argv += flags
    argv += ["-c:a", "aac", "-b:a", "96k"] if sound is not None else ["-an"]
    argv += ["-metadata", f"creation_time={date}"] if date else []
    subprocess.run([*argv, str(path)], check=True)
    return path
