"""What reading the stroke rate of one clip costs, against decoding the same frames alone; and that
its memory has a bound: the longest span that may be asked for, held as small grey pictures.

Pairs are interleaved; the figure is the median of the pairs' ratios of processor time, children
included. Peak memory is that of tracemalloc, which numpy tells of its arrays. Run as a script it
prints JSON.
"""

from __future__ import annotations

import json
import statistics
import tempfile
import tracemalloc
from pathlib import Path

import numpy as np
import pytest

from clinics.media.decode import Pictures, Video
from feedback.compute.rate_read.film import (
    LONGEST_S,
    Film,
    film_of_pictures,
    frames_to_read,
    small_size,
)
from feedback.compute.rate_read.read import read_rate
from tests.bench.bench_film import own_and_childrens_s
from tests.clinics.media.formats import X264
from tests.media.film import make_film

PAIRS = 3
MOST_RATIO = 3.0
SIZE, FPS, SECONDS = (1280, 720), 50, 20
MOST_MIB = 160.0
PER_S = 25


def video(folder: Path) -> Video:
    count = FPS * SECONDS
    codec = (*X264, "-g", "25", "-bf", "0", "-video_track_timescale", "90000")
    path = make_film(folder / "view.mp4", count=count, size=SIZE, fps=FPS, video=codec)
    return Video(path, "view", np.arange(count) * 90_000 // FPS, np.arange(0, count, 25))


def decoded(some: Video) -> Film:
    times_s = some.frame_pts / 90_000
    kept = frames_to_read(times_s)
    wanted = set(kept.tolist())
    width, height = small_size(*SIZE)
    with Pictures(some, 0, len(times_s), (width, height)) as pictures:
        grey = (
            picture[: width * height].reshape(height, width)
            for n, picture in enumerate(pictures)
            if n in wanted
        )
        return film_of_pictures(grey, times_s[kept])


def read(some: Video) -> None:
    read_rate(decoded(some), "freestyle")


def ratio(folder: Path) -> float:
    some = video(folder)
    decoded(some)  # the first one warms the disk
    pairs = [
        own_and_childrens_s(read, some) / own_and_childrens_s(decoded, some) for _ in range(PAIRS)
    ]
    return statistics.median(pairs)


def peak_mib() -> float:
    """Of the longest span, at the largest size of small pictures: a bar that goes over noise."""
    count = int(LONGEST_S * PER_S)
    width, height = small_size(1920, 1080)
    rng = np.random.default_rng(4)
    noise = rng.integers(90, 110, (height, width + count % 7), dtype=np.uint8)

    def pictures() -> object:
        for n in range(count):
            picture = np.roll(noise, n % 5, axis=1)[:, :width].copy()
            left = int(60 + 50 * np.sin(n / PER_S * 2 * np.pi * 0.7))
            picture[60:70, left : left + 50] = 200
            yield picture

    tracemalloc.start()
    film = film_of_pictures(pictures(), np.arange(count) / PER_S)  # type: ignore[arg-type]
    read_rate(film, "freestyle")
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return peak / 2**20


@pytest.mark.bench
def test_reading_costs_little_more_than_decoding(tmp_path: Path) -> None:
    found = ratio(tmp_path)
    print(f"reading a clip costs {found:.2f} times decoding its frames")
    assert found <= MOST_RATIO


@pytest.mark.bench
def test_the_longest_span_fits_in_memory() -> None:
    found = peak_mib()
    print(f"{LONGEST_S:.0f} s of pictures peak at {found:.0f} MiB")
    assert found <= MOST_MIB


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as name:
        print(json.dumps({"ratio": round(ratio(Path(name)), 2), "peak_mib": round(peak_mib())}))
