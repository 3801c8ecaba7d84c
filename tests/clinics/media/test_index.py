"""Indexing: envelope, sound track, joins, notes, progress."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from clinics.media import sandbox
from clinics.media.errors import SandboxMissing, Stopped, TooLarge
from clinics.media.index import index_take
from clinics.media.probe import probe
from clinics.media.sandbox import Limits
from clinics.media.take import Take
from tests.clinics.media.conftest import Indexed
from tests.clinics.media.formats import X264
from tests.media.film import make_film

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
    index = indexed("120 frames/s").index
    assert index.envelope is None and index.sound_track is None


@pytest.mark.parametrize(
    "name",
    ["1080i59.94 MPEG-TS in three files", "MP4 in three chapters", "variable rate MP4", "ASF"],
)
def test_sound_track_is_on_the_pictures_clock(indexed: Get, name: str) -> None:
    """Sample k is at media_s = k / 8000: the tone made from 0.5 to 0.6 s lies there, and in each
    chapter, made by itself, 0.5 s after that chapter's first picture."""
    index = indexed(name).index
    assert index.sound_track is not None
    track = np.fromfile(index.sound_track, dtype="<i2")
    loud_s = np.flatnonzero(np.abs(track.astype(int)) > 4000) / 8000
    parts_s = np.split(loud_s, np.flatnonzero(np.diff(loud_s) > 0.2) + 1)
    begins = [0, *index.joins] if "chapters" in name else [0]
    made_s = [float(index.frame_pts[begin]) / 90_000 + 0.5 for begin in begins]
    assert [part[0] for part in parts_s] == pytest.approx(made_s, abs=0.003)
    assert parts_s[0][-1] - parts_s[0][0] == pytest.approx(0.1, abs=0.003)


@pytest.mark.parametrize("gap_s", [0.064, 0.3])
def test_sound_after_a_gap_is_not_early(tmp_path: Path, gap_s: float) -> None:
    """A camera that lost sound between 0.2 s and then: what follows keeps its own time stamps."""
    lost = f"aselect='not(between(t,0.2,{0.2 + gap_s}))'"
    path = make_film(
        tmp_path / "gap.ts",
        count=60,
        fps=25,
        video=(*X264, "-g", "25"),
        sound=("-c:a", "ac3", "-af", f"asetnsamples=1536,{lost}"),  # whole coded frames are lost
        muxer=("-f", "mpegts"),
        beep_at_s=1.0,
    )
    take = Take((path,), (probe(path, shown_name=path.name),))
    index = index_take(take, work_dir=tmp_path)
    assert index.sound_track is not None
    track = np.fromfile(index.sound_track, dtype="<i2")
    loud_s = np.flatnonzero(np.abs(track.astype(int)) > 4000) / 8000
    assert loud_s[0] == pytest.approx(1.0, abs=0.004)
    assert len(track) / 8000 == pytest.approx(index.duration_s, abs=0.06)


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
