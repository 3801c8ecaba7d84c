"""Indexing: envelope, contact strip, joins, notes, progress."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from clinics.management.demo.painted import read
from clinics.media import sandbox
from clinics.media.errors import SandboxMissing, Stopped, TooLarge
from clinics.media.index import index_take
from clinics.media.probe import probe
from clinics.media.sandbox import Limits
from clinics.media.take import Take
from tests.clinics.media.conftest import Indexed
from tests.clinics.media.formats import X264
from tests.media.film import make_film, number_of

Get = Callable[[str], Indexed]


@pytest.mark.parametrize("name", ["1080i59.94 MPEG-TS in three files", "variable rate MP4"])
def test_envelope_shows_the_tone_where_it_was_recorded(indexed: Get, name: str) -> None:
    index = indexed(name).index
    assert index.envelope is not None
    assert len(index.envelope) == pytest.approx(index.duration_s * 100, abs=6)
    # A tone of half amplitude has 0.5 / sqrt(2): -9 dB, that is (100 - 9) / 0.4 = 227.
    assert index.envelope[52:58] == pytest.approx(227, abs=3)
    assert index.envelope[10:47].max() < 100 and index.envelope[64:100].max() < 100


def test_without_sound_there_is_no_envelope(indexed: Get) -> None:
    assert indexed("120 frames/s").index.envelope is None


@pytest.mark.parametrize(
    "name", ["1080i59.94 MPEG-TS in three files", "MP4 in three chapters", "ASF"]
)
def test_contact_strip_shows_the_key_frames_it_names(indexed: Get, name: str) -> None:
    item = indexed(name)
    contact = item.index.contact
    assert contact is not None and set(contact.frames) <= set(item.index.key_frames.tolist())
    sheet = np.asarray(Image.open(contact.path).convert("L"))
    for place, frame in enumerate(contact.frames):
        top = place // contact.columns * contact.still_height
        left = place % contact.columns * contact.still_width
        still = sheet[top : top + contact.still_height, left : left + contact.still_width]
        if item.take.is_interlaced:
            continue  # Both fields of a frame are in it: two numbers at once.
        assert number_of(read(still)) == frame


def test_joins_are_where_the_next_file_begins(indexed: Get) -> None:
    assert indexed("MP4 in three chapters").index.joins == (47, 107)
    split = indexed("1080i59.94 MPEG-TS in three files").index
    assert [join / 180 for join in split.joins] == pytest.approx([0.31, 0.655], abs=0.12)


def test_what_is_cut_short_is_said(tmp_path: Path) -> None:
    path = make_film(
        tmp_path / "slow.mp4",
        count=60,
        fps=5,
        video=(*X264, "-g", "5"),
        muxer=("-movflags", "+faststart"),
    )
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
    take = Take((path,), (probe(path, shown_name="Lane 4.mp4"),), ("Lane 4.mp4",))
    [note] = index_take(take, work_dir=tmp_path).notes
    assert note.startswith("Lane 4.mp4 says it lasts 12 s") and "card" in note


def test_progress_rises_to_one_and_stop_is_heard(indexed: Get, tmp_path: Path) -> None:
    take = indexed("50i 16:11 pixels, lower field first").take
    heard: list[float] = []
    index_take(take, work_dir=tmp_path, on_progress=heard.append)
    assert heard == sorted(heard) and heard[-1] == 1.0
    with pytest.raises(Stopped):
        index_take(take, work_dir=tmp_path, should_stop=lambda: True)


def test_caps_and_demanded_sandbox(
    indexed: Get, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    take = indexed("50i 16:11 pixels, lower field first").take
    with pytest.raises(TooLarge):
        index_take(take, work_dir=tmp_path, limits=Limits(max_files=1))
    monkeypatch.setattr(sandbox, "sandbox_available", lambda: False)
    with pytest.raises(SandboxMissing):
        index_take(take, work_dir=tmp_path, require_sandbox=True)
