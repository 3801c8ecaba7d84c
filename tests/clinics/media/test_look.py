"""Looking through: each key frame once, with its own number; the contact strip."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from clinics.management.demo.painted import read
from clinics.media.errors import Stopped
from clinics.media.look import ContactStrip, Luma, look_through
from tests.clinics.media.conftest import Indexed
from tests.media.film import number_of

Get = Callable[[str], Indexed]
FORMATS = ["1080i59.94 MPEG-TS in three files", "MP4 in three chapters", "ASF"]


class Witness:
    """Reads the number painted into each picture that it is shown."""

    def __init__(self) -> None:
        self.numbers: list[int] = []
        self.painted: list[int | None] = []

    def look(self, luma: Luma, frame_number: int) -> None:
        self.numbers.append(frame_number)
        self.painted.append(number_of(read(luma)))


def looked(item: Indexed, folder: Path, **more: object) -> tuple[ContactStrip | None, Witness]:
    witness = Witness()
    strip = look_through(
        item.take,
        item.index.frame_pts,
        item.index.key_frames,
        work_dir=folder,
        readers=[witness],
        **more,  # type: ignore[arg-type]
    )
    return strip, witness


@pytest.mark.parametrize("name", FORMATS)
def test_each_key_frame_is_shown_once_with_its_number(
    indexed: Get, name: str, tmp_path: Path
) -> None:
    item = indexed(name)
    _strip, witness = looked(item, tmp_path)
    assert len(witness.numbers) >= 0.8 * len(item.index.key_frames)  # broken ends show nothing
    assert set(witness.numbers) <= set(item.index.key_frames.tolist())
    first = item.case.first_number
    assert witness.painted == [number + first for number in witness.numbers]


@pytest.mark.parametrize("name", FORMATS)
def test_contact_strip_shows_the_key_frames_it_names(
    indexed: Get, name: str, tmp_path: Path
) -> None:
    item = indexed(name)
    strip, _witness = looked(item, tmp_path)
    assert strip is not None and set(strip.frames) <= set(item.index.key_frames.tolist())
    sheet = np.asarray(Image.open(strip.path).convert("L"))
    for place, frame in enumerate(strip.frames):
        top = place // strip.columns * strip.still_height
        left = place % strip.columns * strip.still_width
        still = sheet[top : top + strip.still_height, left : left + strip.still_width]
        if item.take.is_interlaced:
            continue  # Both fields of a frame are in it: two numbers at once.
        assert number_of(read(still)) == frame


def test_progress_rises_and_stop_is_heard(indexed: Get, tmp_path: Path) -> None:
    item = indexed("50i 16:11 pixels, lower field first")
    heard: list[float] = []
    looked(item, tmp_path, on_progress=heard.append)
    assert heard and heard == sorted(heard) and heard[-1] <= 1.0
    with pytest.raises(Stopped):
        looked(item, tmp_path, should_stop=lambda: True)


def test_without_key_frames_there_is_nothing_to_look_through(indexed: Get, tmp_path: Path) -> None:
    item = indexed("ASF")
    none = np.array([], dtype=np.int64)
    assert look_through(item.take, item.index.frame_pts, none, work_dir=tmp_path) is None
