"""The slate read from encoded films with imposed truth: blurred, glaring, tilted, interlaced,
exposed over changes of the code. The codes in the films are drawn by segno and encoded by ffmpeg;
the truth is when each picture's light was gathered."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from clinics.compute.slate import PERIOD_MS, parse_code
from clinics.compute.slate_ties import Reading, Refused, SeenTie, seen_tie, showings
from clinics.media.index import TakeIndex, index_take
from clinics.media.probe import probe
from clinics.media.slate import SlateReader, read_closely, read_code
from clinics.media.take import Take
from clinics.media.ticks import TICKS_PER_S
from tests.media.slate_film import Scene, film, picture

pytestmark = pytest.mark.media
ZERO_MS = 1_794_652_800_037.0
PLAIN = Scene(zero_ms=ZERO_MS, from_s=0.2, to_s=1.9)
LENGTH_S = 2.1
HARD = {
    "as it is": PLAIN,
    "out of focus": replace(PLAIN, blur_px=3.0),
    "under a lamp": replace(PLAIN, glare=0.8, blur_px=1.0),
    "tilted by 20 degrees": replace(PLAIN, tilt_deg=20.0, blur_px=1.0),
    "small": replace(PLAIN, side_px=75.0),
    "upside down": replace(PLAIN, tilt_deg=180.0, fps=15.0),
    "all at once": replace(PLAIN, tilt_deg=20.0, blur_px=1.2, glare=0.5, exposure_ms=40.0),
    "open all the time": replace(PLAIN, exposure_ms=40.0),
    "59.94 pictures a second": replace(PLAIN, fps=60_000 / 1001, to_s=1.4),
}


def taken(path: Path, folder: Path) -> tuple[Take, TakeIndex]:
    take = Take((path,), (probe(path, shown_name=path.name),))
    return take, index_take(take, work_dir=folder)


def read_film(path: Path, folder: Path) -> tuple[list[Reading], TakeIndex, Take]:
    take, found = taken(path, folder)
    return closely(take, found, folder, 0, len(found.frame_pts)), found, take


def closely(
    take: Take, found: TakeIndex, folder: Path, first: int, count: int, every: int = 1
) -> list[Reading]:
    pts, keys = found.frame_pts, found.key_frames
    read = read_closely(
        take, pts, first, count, parse=parse_code, work_dir=folder, key_frames=keys, every=every
    )
    return [Reading(number, int(pts[number]) / TICKS_PER_S, code) for number, code in read]


def lies(scene: Scene, readings: list[Reading]) -> list[float]:
    """How far each code is from anything that was shown while its picture was exposed, in ms."""
    half_ms = scene.exposure_ms / 2
    wrong = []
    for reading in readings:
        middle_ms = scene.zero_ms + 1000 * reading.media_s
        early = reading.code.instant_ms - (middle_ms + half_ms) - scene.refresh_ms
        late = (middle_ms - half_ms) - reading.code.end_ms - scene.refresh_ms
        wrong += [off for off in (early, late) if off > 0.02]
    return wrong


def tied(readings: list[Reading], found: TakeIndex) -> SeenTie | Refused:
    def media_s(number: int) -> float:
        return int(found.frame_pts[number]) / TICKS_PER_S

    return seen_tie(readings, media_s, slow_motion=1.0)


@pytest.mark.parametrize("name", HARD)
def test_a_slate_is_read_and_its_tie_is_right(name: str, tmp_path: Path) -> None:
    scene = HARD[name]
    readings, found, _ = read_film(film(tmp_path / "a.mp4", scene, LENGTH_S), tmp_path)
    shown = (scene.to_s - scene.from_s) * scene.fps
    assert len(readings) >= 0.5 * shown
    assert lies(scene, readings) == []
    tie = tied(readings, found)
    assert isinstance(tie, SeenTie) and tie.score == 1.0
    assert abs(tie.zero_ms - ZERO_MS) <= tie.u_ms <= 25
    assert abs(tie.instant_ms - ZERO_MS - found.frame_pts[tie.frame] / 90) <= tie.u_ms


@pytest.mark.parametrize("exposure_ms", [180.0, 350.0])
def test_exposure_over_two_changes_is_read_as_what_was_shown_or_not_at_all(
    exposure_ms: float, tmp_path: Path
) -> None:
    """A camera in the dark: each picture holds parts of two, three or four codes."""
    scene = replace(PLAIN, exposure_ms=exposure_ms)
    readings, found, _ = read_film(film(tmp_path / "a.mp4", scene, LENGTH_S), tmp_path)
    assert lies(scene, readings) == []
    if exposure_ms < 200:
        tie = tied(readings, found)
        assert isinstance(tie, SeenTie) and abs(tie.zero_ms - ZERO_MS) <= 2 * tie.u_ms


def test_pictures_of_changes_alone_never_give_a_third_code() -> None:
    """Two, three and four codes in all shares: as one of them, or as nothing."""
    rng = np.random.default_rng(7)
    read = 0
    for n in range(36):
        exposure_ms = (40.0, 180.0, 350.0)[n % 3]
        scene = replace(PLAIN, exposure_ms=exposure_ms, tilt_deg=float(n % 21))
        media_s = (np.ceil(ZERO_MS / PERIOD_MS) + 6) * PERIOD_MS - ZERO_MS + rng.uniform(-15, 15)
        code = read_code(picture(scene, media_s / 1000, rng), parse_code)
        if code is not None:
            read += 1
            assert lies(scene, [Reading(0, media_s / 1000, code)]) == []
    assert read >= 12


@pytest.mark.parametrize("suffix", ["mp4", "ts"])
def test_fields_are_read_one_by_one(suffix: str, tmp_path: Path) -> None:
    """1080i as camcorders write it, here 480 lines: two instants in each frame. In a transport
    stream the clock does not begin at zero."""
    scene = replace(PLAIN, size=(720, 480), side_px=230.0, blur_px=0.8, fps=30_000 / 1001)
    path = film(tmp_path / f"a.{suffix}", scene, LENGTH_S, fields=True)
    readings, found, take = read_film(path, tmp_path)
    assert take.is_interlaced and len(found.frame_pts) == 2 * round(LENGTH_S * scene.fps)
    assert {reading.frame % 2 for reading in readings} == {0, 1}
    assert len(readings) >= 0.7 * 1.7 * 2 * scene.fps
    assert lies(scene, readings) == []
    tie = tied(readings, found)
    assert isinstance(tie, SeenTie)
    assert abs(tie.zero_ms - ZERO_MS) <= tie.u_ms <= 18


def test_a_span_in_the_middle_gives_the_pictures_own_numbers(tmp_path: Path) -> None:
    path = film(tmp_path / "a.mp4", PLAIN, LENGTH_S)
    all_of_them, found, take = read_film(path, tmp_path)
    some = closely(take, found, tmp_path, 31, 14)
    assert some == [reading for reading in all_of_them if 31 <= reading.frame < 45]
    few = closely(take, found, tmp_path, 0, 52, every=7)
    assert few == [reading for reading in all_of_them if reading.frame % 7 == 0]
    assert not list(tmp_path.glob("sidelane-*"))


def test_the_reader_of_key_frames_sees_it_at_a_glance(tmp_path: Path) -> None:
    rng = np.random.default_rng(2)
    reader = SlateReader()
    for number, media_s in ((0, 0.0), (20, 0.8), (40, 1.6), (60, 2.4)):
        reader.look(picture(PLAIN, media_s, rng), number)
    assert [sighting.frame for sighting in reader.sightings] == [20, 40]
    for sighting in reader.sightings:
        code = parse_code(sighting.text)
        assert code is not None and code.clinic == "K2TQ"
        assert -20 <= ZERO_MS + 40 * sighting.frame - code.instant_ms <= PERIOD_MS + 20


def test_slow_motion_and_a_clock_that_stands_still_are_told_apart(tmp_path: Path) -> None:
    slow = replace(PLAIN, rate=4.0, exposure_ms=4.0)
    readings, found, _ = read_film(film(tmp_path / "slow.mp4", slow, LENGTH_S), tmp_path)
    told = tied(readings, found)
    assert isinstance(told, Refused) and told.why == "rate" and abs(told.factor - 4.0) < 0.5
    still = [replace(r, code=readings[0].code) for r in readings]
    frozen = tied(still, found)
    assert isinstance(frozen, Refused) and frozen.why == "still"


def test_two_showings_are_two(tmp_path: Path) -> None:
    readings, found, _ = read_film(film(tmp_path / "a.mp4", PLAIN, LENGTH_S), tmp_path)
    later = [replace(r, frame=r.frame + 250, media_s=r.media_s + 10) for r in readings]
    assert [len(one) for one in showings([*later, *readings])] == [len(readings)] * 2
