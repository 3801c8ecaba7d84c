"""What else belongs to a clip: sound, poster, strip, masks; and what must not be in it."""

from __future__ import annotations

import subprocess
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from clinics.management.demo.painted import read
from clinics.media.checksum import sha256_file
from clinics.media.errors import Stopped
from clinics.media.index import index_take
from clinics.media.masks import Mask
from clinics.media.probe import probe
from clinics.media.render import RenderedClip, render_clip
from clinics.media.render_plan import RenditionSpec, default_renditions
from clinics.media.sound import read_sound
from clinics.media.source import open_take
from clinics.media.still import extract_frame, extract_frames
from clinics.media.take import Take
from clinics.media.ticks import TICKS_PER_S
from tests.clinics.media.conftest import Indexed
from tests.clinics.media.formats import X264
from tests.media.film import decoded, ffprobe, make_film, number_of

Get = Callable[[str], Indexed]
TWO = [RenditionSpec(360), RenditionSpec(180)]
WITH_BEEP = [
    "1080i59.94 MPEG-TS in three files",
    "50i 16:11 pixels, lower field first",
    "MOV turned by 90",
    "variable rate MP4",
    "AVI, Motion JPEG",
    "ASF",
]
BEEP_AT_S = 0.5


def _clip(item: Indexed, first: int, count: int, out_dir: Path, **more: object) -> RenderedClip:
    return item.clip(first, count, out_dir, **{"renditions": TWO, **more})


def _luma(path: Path) -> np.ndarray:
    return np.asarray(Image.open(path).convert("L"))


def _beep_begins_s(samples: np.ndarray, rate_hz: int) -> float:
    """First sample at a quarter of full scale; the tone has a half."""
    loud = np.flatnonzero(np.abs(samples) > 0.25)
    assert len(loud), "the tone is there"
    return float(loud[0] / rate_hz)


def _decoded_sound(path: Path) -> np.ndarray:
    argv = ["ffmpeg", "-v", "error", "-i", str(path), "-f", "f32le", "-ac", "1", "-ar", "48000"]
    raw = subprocess.run([*argv, "-"], capture_output=True, check=True).stdout
    return np.frombuffer(raw, dtype="<f4")


@pytest.mark.parametrize("name", WITH_BEEP)
def test_sound_is_in_step_with_the_pictures(indexed: Get, name: str, tmp_path: Path) -> None:
    """The tone stands where it was recorded, whether the clip begins at the start or later."""
    item = indexed(name)
    for first in (0, 7):
        clip = _clip(item, first, len(item.index.frame_pts) // 2, tmp_path)
        [sound] = clip.of_kind("sound")
        assert clip.sound_offset_s == pytest.approx(0.0, abs=0.0005)
        begins_s = _beep_begins_s(_decoded_sound(sound.path), 48000)
        # Pictures and sound of these films start together, but for a container's rounding.
        expected_s = BEEP_AT_S - item.index.frame_pts[first] / TICKS_PER_S
        assert begins_s == pytest.approx(expected_s, abs=0.004)
        [row] = ffprobe(sound.path, "-show_entries", "stream=codec_name,codec_type")
        assert row == ["aac", "audio"]


@pytest.mark.parametrize("name", WITH_BEEP[:2])
def test_sound_read_as_numbers_is_on_the_same_clock(indexed: Get, name: str) -> None:
    item = indexed(name)
    source = open_take(item.take, work_dir=item.folder, limits=_limits())
    samples = read_sound(source, rate_hz=16000, from_s=0.2, to_s=1.2, limits=_limits())
    assert len(samples) == 16000
    assert _beep_begins_s(samples, 16000) == pytest.approx(BEEP_AT_S - 0.2, abs=0.004)


def _limits():  # type: ignore[no-untyped-def]
    from clinics.media.sandbox import Limits

    return Limits()


def test_sound_can_be_left_out_and_videos_have_none(indexed: Get, tmp_path: Path) -> None:
    clip = _clip(indexed("variable rate MP4"), 5, 30, tmp_path, with_sound=False)
    assert not clip.of_kind("sound") and not (tmp_path / "sound.m4a").exists()
    for video in clip.of_kind("video"):
        assert ffprobe(video.path, "-show_entries", "stream=codec_type") == [["video"]]


@pytest.mark.parametrize(
    "name", ["variable rate MP4", "120 frames/s", "MPEG-2 program stream, 4:3"]
)
def test_a_key_frame_stands_at_the_first_picture_of_each_quarter_second(
    indexed: Get, name: str, tmp_path: Path
) -> None:
    clip = _clip(indexed(name), 3, 80, tmp_path)
    for video in clip.of_kind("video"):
        rows = ffprobe(video.path, "-show_entries", "packet=pts,flags")
        times_s = np.array([int(row[0]) for row in rows]) / TICKS_PER_S
        keys = [n for n, row in enumerate(rows) if "K" in row[1]]
        quarter = np.floor((times_s + 5e-6) / 0.25)
        expected = [0, *(np.flatnonzero(np.diff(quarter) > 0) + 1)]
        assert keys == expected == list(video.key_frames)  # type: ignore[arg-type]
        assert video.frame_pts is not None and len(video.frame_pts) == 80
        kinds = ffprobe(video.path, "-show_entries", "frame=pict_type")
        assert {row[0] for row in kinds} == {"I", "P"}, "no B-frames"


def test_every_file_is_as_described(indexed: Get, tmp_path: Path) -> None:
    clip = _clip(indexed("1080i59.94 MPEG-TS in three files"), 10, 30, tmp_path)
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted(
        f.path.name for f in clip.files
    )
    for file in clip.files:
        assert file.size_bytes == file.path.stat().st_size
        assert file.sha256 == sha256_file(file.path)
    for still in (*clip.of_kind("poster"), *clip.of_kind("strip")):
        assert _luma(still.path).shape == (still.height, still.width)


def test_poster_and_strip_show_the_pictures_they_should(indexed: Get, tmp_path: Path) -> None:
    clip = _clip(indexed("120 frames/s"), 30, 100, tmp_path, poster_frame=61)
    assert number_of(read(_luma(clip.of_kind("poster")[0].path))) == 91
    strip = _luma(clip.of_kind("strip")[0].path)
    stills = np.split(strip, 10, axis=1)
    assert [number_of(read(still)) for still in stills] == [30 + 5 + 10 * n for n in range(10)]


def test_masks_cover_every_picture_made(indexed: Get, tmp_path: Path) -> None:
    item = indexed("120 frames/s")
    begin = int(item.index.frame_pts[50])
    masks = [Mask(0.25, 0.5, 0.5, 0.25), Mask(0.0, 0.8, 0.1, 0.2, begin, begin + 9000)]
    clip = _clip(item, 40, 40, tmp_path, masks=masks)
    for video in clip.of_kind("video"):
        for n, luma in enumerate(decoded(video.path)):
            height, width = luma.shape
            inside = luma[
                height // 2 + 2 : height * 3 // 4 - 2, width // 4 + 2 : width * 3 // 4 - 2
            ]
            assert inside.max() < 40
            corner = luma[height * 17 // 20 :, : width // 12]
            assert (corner.max() < 40) == (10 <= n <= 22)
    for kind in ("poster", "strip"):
        luma = _luma(clip.of_kind(kind)[0].path)
        height, width = luma.shape
        row = luma[height // 2 + 4 : height * 3 // 4 - 4]
        still = width if kind == "poster" else width // 10
        assert row[:, still * 3 // 8 : still * 5 // 8].max() < 60


def test_nothing_of_the_original_goes_on(tmp_path: Path) -> None:
    """Place, device, date, chapters, a data track. Words as of a telephone's file."""
    secret = "Quillmoor-4711"
    notes = tmp_path / "notes.srt"
    notes.write_text(f"1\n00:00:00,000 --> 00:00:02,000\n{secret}\n")
    chapters = tmp_path / "chapters.txt"
    chapters.write_text(
        f";FFMETADATA1\ntitle={secret}\n[CHAPTER]\nTIMEBASE=1/1000\nSTART=0\nEND=900\ntitle={secret}\n"
    )
    plain = make_film(tmp_path / "p.mov", count=45, video=X264, sound=("-c:a", "aac"))
    path = tmp_path / "tagged.mov"
    argv = ["ffmpeg", "-v", "error", "-i", str(plain), "-i", str(notes), "-i", str(chapters)]
    argv += ["-map", "0", "-map", "1", "-map_metadata", "2", "-c", "copy", "-c:s", "mov_text"]
    argv += ["-metadata", f"make={secret}", "-metadata", "location=+53.3498-006.2603/"]
    argv += ["-metadata", "creation_time=2026-11-14T09:30:00Z", str(path)]
    subprocess.run(argv, check=True)
    assert secret.encode() in path.read_bytes() and b"53.3498" in path.read_bytes()
    take = Take((path,), (probe(path, shown_name="t"),))
    out = tmp_path / "out"
    out.mkdir()
    table = index_take(take, work_dir=tmp_path).frame_pts
    clip = render_clip(
        take, table, 0, 45, renditions=TWO, out_dir=out, work_dir=tmp_path, with_sound=True
    )
    for file in clip.files:
        data = file.path.read_bytes()
        for trace in (secret.encode(), b"53.3498", b"2026-11-14"):
            assert trace not in data
        assert not ffprobe(file.path, "-show_entries", "chapter=id")
        if file.kind in ("video", "sound"):
            tags = ffprobe(file.path, "-show_entries", "format_tags:stream_tags=creation_time")
            assert not [
                word for row in tags for word in row if "creation" in word or "20" in word[:2]
            ]
            assert len(ffprobe(file.path, "-show_entries", "stream=index")) == 1


def test_stop_leaves_no_file_behind(indexed: Get, tmp_path: Path) -> None:
    item = indexed("1080i59.94 MPEG-TS in three files")
    with pytest.raises(Stopped):
        _clip(item, 0, 100, tmp_path, should_stop=lambda: bool(list(tmp_path.iterdir())))
    assert not list(tmp_path.iterdir())


def test_progress_rises_to_one(indexed: Get, tmp_path: Path) -> None:
    heard: list[float] = []
    _clip(indexed("240 frames/s HEVC"), 0, 300, tmp_path, on_progress=heard.append)
    assert heard == sorted(heard) and heard[-1] == 1.0


@pytest.mark.parametrize("span", [(-1, 5), (0, 0), (50, 11)])
def test_pictures_outside_the_recording_are_refused(
    indexed: Get, span: tuple[int, int], tmp_path: Path
) -> None:
    with pytest.raises(ValueError, match="do not lie in"):
        _clip(indexed("MOV turned by 90"), *span, tmp_path)
    assert not list(tmp_path.iterdir())


def test_default_renditions_are_never_larger_than_the_source() -> None:
    heights = {
        h: [spec.height for spec in default_renditions(h)] for h in (240, 360, 576, 720, 2160)
    }
    assert heights == {
        240: [240],
        360: [360],
        576: [540, 360],
        720: [720, 540, 360],
        2160: [720, 540, 360],
    }


STILLS = ["1080i59.94 MPEG-TS in three files", "MP4 in three chapters", "HEVC 10 bits, open groups"]


@pytest.mark.parametrize("name", STILLS)
def test_a_still_is_the_picture_that_the_clip_shows(
    indexed: Get, name: str, tmp_path: Path
) -> None:
    item = indexed(name)
    for frame in (0, 47, len(item.index.frame_pts) - 1):
        out = extract_frame(
            item.take,
            item.index.frame_pts,
            frame,
            out_path=tmp_path / f"{frame}.jpg",
            height=360,
            key_frames=item.index.key_frames,
        )
        assert number_of(read(_luma(out))) == frame
        _clip(item, frame, 1, item.folder, renditions=[RenditionSpec(360)])
        [shown] = decoded(item.folder / "360.mp4")  # full range, as a JPEG is
        assert np.abs(shown.astype(float) - _luma(out)).mean() < 5
    assert sorted(path.suffix for path in tmp_path.iterdir()) == [".jpg"] * 3


def test_a_run_of_stills_without_known_key_frames(indexed: Get, tmp_path: Path) -> None:
    item = indexed("1080i59.94 MPEG-TS in three files")
    made = extract_frames(item.take, item.index.frame_pts, 130, 20, out_dir=tmp_path, height=180)
    assert [number_of(read(_luma(path))) for path in made] == list(range(130, 150))
    assert len(list(tmp_path.iterdir())) == 20
