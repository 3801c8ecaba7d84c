"""Which files are one recording."""

from __future__ import annotations

import dataclasses
from fractions import Fraction

import pytest

from clinics.media.facts import FileFacts
from clinics.media.take import continues, order_split_files

PLAIN = FileFacts(
    container="mpegts", demuxer="mpegts", size_bytes=4_000_000_000, duration_s=60.0, start_s=1.4,
    video_end_s=61.4, stream_count=2, video_index=0, video_codec="h264", coded_width=1920,
    coded_height=1080, width=1920, height=1080, sar_num=1, sar_den=1, rotation_deg=0,
    mirrored=False, field_order="tff", fps_num=30000, fps_den=1001, r_fps_num=30000,
    r_fps_den=1001, time_base_num=1, time_base_den=90000, first_pts=126000, pix_fmt="yuv420p",
    bit_depth=8, color_space=None, color_range=None, has_audio=True, audio_index=1,
    audio_codec="ac3", audio_channels=2, audio_rate_hz=48000, created_at=None, make=None,
    model=None,
)  # fmt: skip


def _stream(start_s: float, **more: object) -> FileFacts:
    return dataclasses.replace(PLAIN, start_s=start_s, video_end_s=start_s + 60.0, **more)  # type: ignore[arg-type]


def _mp4(created_at: str | None, **more: object) -> FileFacts:
    settings = {"start_s": 0.0, "video_end_s": 60.0, "created_at": created_at, **more}
    return dataclasses.replace(PLAIN, container="mp4", demuxer="mov", **settings)  # type: ignore[arg-type]


def test_transport_streams_whose_clock_goes_on_are_one_in_order() -> None:
    named = [
        ("00010.MTS", _stream(121.43)),
        ("00002.MTS", _stream(1.4)),
        ("00011.MTS", _stream(1.4)),
        ("00009.MTS", _stream(61.41)),
    ]
    assert order_split_files(named) == [[1, 3, 0], [2]]


def test_two_recordings_split_at_the_same_length_are_kept_apart() -> None:
    first, second = _stream(1.4), _stream(61.4)
    named = [("1.ts", first), ("2.ts", first), ("3.ts", second), ("4.ts", first), ("5.ts", second)]
    assert order_split_files(named) == [[0], [1, 2], [3, 4]]


def test_streams_with_other_settings_are_never_joined() -> None:
    named = [("a1.ts", _stream(1.4)), ("a2.ts", _stream(61.4, audio_codec="mp2"))]
    assert order_split_files(named) == [[0], [1]]


def test_chapter_names_are_joined_by_chapter_not_by_name_order() -> None:
    noon = "2026-11-14T12:00:00.000000Z"
    named = [
        ("GX020042.MP4", _mp4(noon)),
        ("GX010043.MP4", _mp4("2026-11-14T12:30:00Z")),
        ("GX010042.MP4", _mp4(noon)),
        ("GX030042.MP4", _mp4(noon)),
    ]
    assert order_split_files(named) == [[2, 0, 3], [1]]


CREATED = [
    ("2026-11-14T12:00:00Z", "2026-11-14T12:01:00Z", True),
    ("2026-11-14T12:00:00Z", "2026-11-14T12:01:01Z", True),
    ("2026-11-14T12:00:00Z", "2026-11-14T12:01:09Z", False),
    ("2026-11-14T12:00:00Z", "2026-11-14T12:00:00Z", False),
    (None, None, False),
    ("yesterday", "2026-11-14T12:01:00Z", False),
]


@pytest.mark.parametrize(("before", "after", "joined"), CREATED)
def test_numbered_files_are_joined_only_when_full_and_dated_so(
    before: str | None, after: str | None, joined: bool
) -> None:
    previous, following = _mp4(before), _mp4(after)
    names = {"previous_name": "CLIP0009.MP4", "following_name": "CLIP0010.MP4"}
    assert continues(previous, following, **names) is joined
    not_full = dataclasses.replace(previous, size_bytes=50_000_000)
    assert continues(not_full, following, **names) is False
    names["following_name"] = "CLIP0011.MP4"
    assert continues(previous, following, **names) is False


def test_fps_is_exact() -> None:
    assert PLAIN.fps == Fraction(30000, 1001)
