"""The frame table: how it is made from what the container says, and how it is kept."""

from __future__ import annotations

import subprocess
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from clinics.media.errors import Damaged
from clinics.media.frames import (
    frames_between,
    load_frame_table,
    load_key_frames,
    save_frame_table,
)
from clinics.media.listing import NO_PTS, Packets, _suppositions
from clinics.media.ticks import pictures_of, to_ticks


def test_an_hour_of_fields_is_small_on_disk(tmp_path: Path) -> None:
    frames = np.arange(108_000, dtype=np.int64) * 3003
    table = pictures_of(frames, Fraction(1, 90000), interlaced=True)
    keys = np.arange(0, len(table), 30)
    size_bytes = save_frame_table(tmp_path / "t", table, keys)
    assert size_bytes == (tmp_path / "t").stat().st_size < 100_000
    np.testing.assert_array_equal(load_frame_table(tmp_path / "t"), table)
    np.testing.assert_array_equal(load_key_frames(tmp_path / "t"), keys)


@settings(max_examples=25, deadline=None)
@given(st.lists(st.integers(1, 1 << 40), min_size=1, max_size=200))
def test_any_table_comes_back(tmp_path_factory: pytest.TempPathFactory, steps: list[int]) -> None:
    path = tmp_path_factory.mktemp("t") / "t"
    table = np.concatenate([[0], np.cumsum(steps)])
    save_frame_table(path, table)
    np.testing.assert_array_equal(load_frame_table(path), table)
    assert len(load_key_frames(path)) == 0


@pytest.mark.parametrize("bad", [[], [1, 2], [0, 5, 5], [0, 5, 4]])
def test_what_is_no_table_is_not_saved(tmp_path: Path, bad: list[int]) -> None:
    with pytest.raises(ValueError, match="rises"):
        save_frame_table(tmp_path / "t", np.array(bad, dtype=np.int64))
    assert not list(tmp_path.iterdir())


def test_damaged_table_is_said_to_be(tmp_path: Path) -> None:
    path = tmp_path / "t"
    save_frame_table(path, np.arange(1000) * 1500)
    data = path.read_bytes()
    for broken in (b"", data[:-9], b"x" + data[1:], data[:30] + b"\xff" + data[31:]):
        path.write_bytes(broken)
        with pytest.raises(Damaged, match="index the recording again"):
            load_frame_table(path)


def test_frames_between_is_in_inclusive_and_out_exclusive() -> None:
    table = np.array([0, 1502, 3003, 4505])
    assert frames_between(table, 0, 4506) == (0, 4)
    assert frames_between(table, 1502, 3003) == (1, 1)
    assert frames_between(table, 1503, 3004) == (2, 1)
    assert frames_between(table, 9000, 9999) == (4, 0)
    assert frames_between(table, 3000, 1000)[1] == 0


BASES = [Fraction(1, 90000), Fraction(1, 1000), Fraction(1, 15360), Fraction(1001, 60000)]


@pytest.mark.parametrize("base", BASES, ids=str)
def test_rounding_is_that_of_ffmpeg(base: Fraction) -> None:
    """Outside source: ffmpeg's own `settb` filter, on the same time stamps."""
    half = base / 2
    argv = ["ffmpeg", "-v", "error", "-f", "lavfi", "-i", "color=s=16x16:r=25:d=2"]
    chain = f"settb={half.numerator}/{half.denominator},setpts=N*7+1,settb=1/90000"
    argv += ["-vf", chain, "-fps_mode", "passthrough", "-enc_time_base", "1:90000"]
    argv += ["-c:v", "rawvideo", "-f", "framecrc", "-"]
    said = subprocess.run(argv, capture_output=True, text=True, check=True).stdout
    theirs = [int(line.split(",")[2]) for line in said.splitlines() if not line.startswith("#")]
    assert to_ticks(np.arange(50) * 7 + 1, half).tolist() == theirs
    assert [to_ticks(n * 7 + 1, half) for n in range(50)] == theirs


def test_a_missing_frame_does_not_make_the_field_before_it_late() -> None:
    frames = np.array([0, 3600, 7200, 18000, 21600])
    table = pictures_of(frames, Fraction(1, 90000), interlaced=True)
    assert table.tolist() == [0, 1800, 3600, 5400, 7200, 9000, 18000, 19800, 21600, 23400]


def _packets(pts: list[int], keys: list[int]) -> Packets:
    key = np.zeros(len(pts), dtype=bool)
    key[keys] = True
    return Packets(np.array(pts, dtype=np.int64), key, np.zeros(len(pts), dtype=bool))


def test_field_pairs_are_supposed_as_frames() -> None:
    """Field-coded streams (PAFF): two packets a frame, the second with a time of its own or none.
    No encoder at hand writes them, so this is the one case without a film."""
    timed = _packets([0, 1800, 7200, 9000, 3600, 5400], [0])
    untimed = _packets([0, NO_PTS, 7200, NO_PTS, 3600, NO_PTS], [0])
    for packets in (timed, untimed):
        supposed = [pts.tolist() for how, pts in _suppositions(packets) if how == "field-packets"]
        assert [0, 3600, 7200] in supposed


def test_pictures_before_the_first_key_frame_may_be_left_out() -> None:
    packets = _packets([100, 50, 300, 200, 400], [2])
    supposed = [pts.tolist() for _, pts in _suppositions(packets)]
    assert supposed[:3] == [[50, 100, 200, 300, 400], [200, 300, 400], [300, 400]]
