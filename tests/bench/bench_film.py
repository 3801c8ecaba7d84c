"""What a film of four views costs here, against one plain ffmpeg command that puts the same videos
side by side with the same encoder settings; and that its length costs no memory.

The portal's way also finds the frame of each view for every instant, writes times and names, and
decodes in the box. Pairs are interleaved; the figure is the median of the pairs' ratios of
processor time. Run as a script it prints JSON.
"""

from __future__ import annotations

import json
import resource
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pytest

from clinics.media.decode import Video
from clinics.media.film import FilmView
from clinics.media.film import make_film as make_film_of_views
from clinics.media.letters import Words
from clinics.media.sheet import Sheet, film_sheet
from tests.bench.bench_render import children_cpu_s
from tests.clinics.media.formats import X264
from tests.media.film import ffprobe, make_film

PAIRS = 3
MOST_RATIO = 3.0
SIZE = (640, 360)
SHORT, LONG = 60, 420
MOST_GROWTH_FRAMES = 24
"""Pictures of the film's size by which its peak memory may grow when it is seven times as long."""


def videos(folder: Path, count: int) -> list[Video]:
    """Four videos as the portal renders them, each beginning a few frames after the other."""
    made = []
    for place in range(4):
        path = make_film(
            folder / f"view-{place}.mp4",
            count=count,
            size=SIZE,
            fps=60,
            first=place * 3,
            video=(*X264, "-g", "15", "-bf", "0", "-video_track_timescale", "90000"),
        )
        made.append(Video(path, f"view {place}", np.arange(count) * 1500, np.arange(0, count, 15)))
    return made


def through_the_portal(some: list[Video], target: Path, count: int) -> Sheet:
    """Four views in step."""
    sheet = film_sheet([SIZE] * 4)
    make_film_of_views(
        target,
        sheet=sheet,
        views=[
            FilmView(
                video,
                np.arange(count) + 9 - place * 3,
                lambda n: Words(f"{n / 60:.2f} s", "Underwater 12.5 m", "within a frame"),
            )
            for place, video in enumerate(some)
        ],
        ticks=np.arange(count) * 1500,
        head=Words("Tomas Birk", "freestyle, 50 m", "14 November 2026"),
        not_here="Not filmed from here at this instant",
    )
    return sheet


def with_bare_ffmpeg(some: list[Video], target: Path, count: int) -> None:
    """As one would type it: four inputs from their beginnings, stacked, nothing written."""
    argv = ["ffmpeg", "-nostdin", "-v", "error", "-y"]
    for video in some:
        argv += ["-i", str(video.path)]
    stacked = "xstack=inputs=4:layout=0_0|w0_0|0_h0|w0_h0"
    argv += ["-filter_complex", f"{stacked},pad=1288:818", "-frames:v", str(count)]
    argv += ["-c:v", "libx264", "-preset", "veryfast", "-crf", "20", "-bf", "0"]
    argv += ["-force_key_frames", "expr:gte(t,n_forced)", "-movflags", "+faststart", str(target)]
    subprocess.run(argv, check=True)


def own_and_childrens_s(work: object, *told: object) -> float:
    began_s = time.process_time()
    childrens_s = children_cpu_s(lambda: work(*told))  # type: ignore[operator]
    return childrens_s + time.process_time() - began_s


def peak_bytes() -> int:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024


def compare(folder: Path) -> dict[str, object]:
    some = videos(folder, LONG + 12)
    ours, bare = folder / "ours.mp4", folder / "bare.mp4"
    sheet = through_the_portal(some, ours, SHORT)
    before = peak_bytes()
    through_the_portal(some, ours, LONG)
    growth = (peak_bytes() - before) / (sheet.width * sheet.height * 1.5)
    portal_s, bare_s = [], []
    for _ in range(PAIRS):
        portal_s.append(own_and_childrens_s(through_the_portal, some, ours, LONG))
        bare_s.append(own_and_childrens_s(with_bare_ffmpeg, some, bare, LONG))
    counted = ["-count_packets", "-show_entries", "stream=nb_read_packets"]
    ratios = [one / other for one, other in zip(portal_s, bare_s, strict=True)]
    return {
        "portal_cpu_s": [round(value, 2) for value in portal_s],
        "bare_cpu_s": [round(value, 2) for value in bare_s],
        "ratio_median": round(statistics.median(ratios), 3),
        "growth_frames": round(growth, 1),
        "pictures": [int(ffprobe(path, *counted)[0][0]) for path in (ours, bare)],
    }


@pytest.mark.bench
def test_a_film_costs_little_more_than_bare_ffmpeg_and_no_memory_for_its_length() -> None:
    # In a process of its own: it waits for all its children, and its peak is its own.
    argv = [sys.executable, "-m", "tests.bench.bench_film"]
    done = subprocess.run(argv, capture_output=True, text=True, check=True, timeout=540)
    result = json.loads(done.stdout)
    print(result)
    assert result["pictures"][0] == LONG and abs(result["pictures"][1] - LONG) <= 2
    assert 0.5 < result["ratio_median"] <= MOST_RATIO, result
    assert result["growth_frames"] <= MOST_GROWTH_FRAMES, result


def main() -> int:
    folder = Path(tempfile.mkdtemp(prefix="bench-film-"))
    try:
        print(json.dumps(compare(folder), indent=2))
    finally:
        shutil.rmtree(folder)
    return 0


if __name__ == "__main__":
    sys.exit(main())
