"""Clips show exactly the planned pictures, read back from what is painted in them."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from clinics.media.render import RenderedClip
from clinics.media.render_plan import RenditionSpec
from clinics.media.ticks import TICKS_PER_S
from tests.clinics.media.conftest import Indexed
from tests.clinics.media.formats import CASES
from tests.media.film import ffprobe, numbers_in

NAMES = [case.name for case in CASES]
Get = Callable[[str], Indexed]


def _clip(item: Indexed, first: int, count: int, out_dir: Path, **more: object) -> RenderedClip:
    out_dir.mkdir(exist_ok=True)
    settings: dict[str, object] = {"renditions": [RenditionSpec(360)], "with_sound": False}
    return item.clip(first, count, out_dir, **{**settings, **more})


def _plainly_decoded(item: Indexed) -> list[int | None]:
    """The outside reference where the count is not given: ffmpeg, whole file, no seeking."""
    return numbers_in(item.take.files[0])


@pytest.mark.parametrize("name", NAMES)
def test_frame_table_lists_every_picture_at_its_time(indexed: Get, name: str) -> None:
    item = indexed(name)
    expected = item.case.count if item.case.count >= 0 else len(_plainly_decoded(item))
    assert len(item.index.frame_pts) == expected
    times_s = item.index.frame_pts / TICKS_PER_S
    planned_s = np.array([item.case.time_of(n) for n in range(expected)])
    # A millisecond is the coarsest clock among the containers (ASF).
    np.testing.assert_allclose(times_s, planned_s - planned_s[0], atol=0.0011)


@pytest.mark.parametrize("name", NAMES)
def test_clips_show_exactly_the_planned_pictures(indexed: Get, name: str, tmp_path: Path) -> None:
    item = indexed(name)
    total = len(item.index.frame_pts)
    zero = item.case.first_number
    if zero < 0:
        zero = _plainly_decoded(item)[0] or 0
    spans = [(0, 9), (total // 3 + 1, 31), (total - 8, 8)]
    spans += [(max(0, join - 7), 15) for join in item.index.joins]
    for first, count in spans:
        clip = _clip(item, first, count, tmp_path / f"{first}")
        [video] = clip.of_kind("video")
        assert numbers_in(video.path) == list(range(zero + first, zero + first + count))
        packets = ffprobe(video.path, "-select_streams", "v:0", "-show_entries", "packet=pts")
        planned = item.index.frame_pts[first : first + count] - item.index.frame_pts[first]
        assert [int(row[0]) for row in packets] == planned.tolist()


@pytest.mark.parametrize("name", NAMES)
def test_clip_is_upright_square_and_as_the_room_needs_it(
    indexed: Get, name: str, tmp_path: Path
) -> None:
    item = indexed(name)
    assert (item.take.width, item.take.height) == item.case.shown
    assert item.take.first.field_order == item.case.field_order
    assert item.take.first.container == item.case.container
    assert item.take.has_audio == item.case.has_sound
    clip = _clip(item, 10, 40, tmp_path / "clip", renditions=[RenditionSpec(h) for h in (540, 360)])
    for video in clip.of_kind("video"):
        shown = "codec_name,profile,width,height,has_b_frames,sample_aspect_ratio,pix_fmt"
        [row] = ffprobe(video.path, "-show_entries", f"stream={shown}")
        width, height = item.case.shown
        assert row[:2] == ["h264", "High"] and row[4:] == ["0", "1:1", "yuv420p"]
        assert int(row[3]) == video.height <= height
        assert int(row[2]) == video.width == pytest.approx(width * video.height / height, abs=1.1)
        turned = ffprobe(video.path, "-show_entries", "stream_side_data=rotation")
        assert turned in ([], [["0"]])
