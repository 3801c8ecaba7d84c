"""Pictures to take along, read back: the numbers painted on the frames, and nothing else, say
which frames they are."""

from __future__ import annotations

import json
import subprocess
import threading
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image, ImageStat

from clinics.management.demo import painted
from clinics.media.compose import BAR, Overlay, compose_stills, save_still
from clinics.media.decode import Pictures, Video, read_pictures
from clinics.media.encode import EncodeFailed, encode_raw_frames
from clinics.media.errors import Damaged, MediaError
from clinics.media.film import NOT_HERE, FilmView, make_film
from clinics.media.letters import Words, band
from clinics.media.sheet import film_sheet, row_sheet, sheet_of, still_sheet
from tests.feedback.painted_room import Station4, make_room
from tests.media.film import ffprobe

SIZE = (640, 360)


@pytest.fixture(scope="module")
def room(tmp_path_factory: pytest.TempPathFactory) -> list[Station4]:
    return make_room(tmp_path_factory.mktemp("room"), seconds=2.0)


def video_of(one: Station4, *, keys: bool = True) -> Video:
    file = one.rendered.of_kind("video")[0]
    assert file.frame_pts is not None
    return Video(file.path, one.camera.slug, file.frame_pts, file.key_frames if keys else None)


def number_in(picture: Any) -> int | None:
    return painted.read(np.asarray(Image.fromarray(picture).convert("L")))


def pictures_of(path: Path, width: int, height: int) -> list[np.ndarray[Any, Any]]:
    """Every picture of a film as brightness, decoded by plain ffmpeg."""
    argv = ["ffmpeg", "-v", "error", "-i", str(path), "-fps_mode", "passthrough"]
    raw = subprocess.run(
        [*argv, "-f", "rawvideo", "-pix_fmt", "gray", "-"], check=True, capture_output=True
    ).stdout
    return list(np.frombuffer(raw, dtype=np.uint8).reshape(-1, height, width))


def packet_pts(path: Path) -> list[int]:
    return [int(row[0]) for row in ffprobe(path, "-show_entries", "packet=pts")]


@pytest.mark.parametrize("keys", [True, False])
@pytest.mark.parametrize("place", range(4))
def test_frames_are_read_by_their_number(room: list[Station4], place: int, keys: bool) -> None:
    one = room[place]
    frames = [0, 1, 14, 15, 16, one.frame_count - 2, one.frame_count - 1]
    read = read_pictures(video_of(one, keys=keys), frames, SIZE)
    assert [one.frame_of(number_in(picture)) for picture in read] == frames
    single = read_pictures(video_of(one, keys=keys), [frames[3]], (320, 180))
    assert single[0].shape == (180, 320, 3) and one.frame_of(number_in(single[0])) == frames[3]


def test_frames_to_read_rise(room: list[Station4]) -> None:
    for frames in ([], [3, 3], [5, 2]):
        with pytest.raises(MediaError):
            read_pictures(video_of(room[0]), frames, SIZE)


def test_a_file_that_lacks_pictures_is_no_film(room: list[Station4]) -> None:
    """The list of frames says more than the file holds."""
    video = video_of(room[0])
    more = np.append(video.frame_pts, video.frame_pts[-1] + 1500 * np.arange(1, 4))
    told = Video(video.path, "start side", more, video.key_frames)
    with pytest.raises(Damaged, match="start side: 4 pictures were to be read and 2 came out"):
        read_pictures_all(told, len(video.frame_pts) - 2, 4)


def read_pictures_all(video: Video, first: int, count: int) -> int:
    with Pictures(video, first, count, SIZE) as pictures:
        return sum(1 for _ in pictures)


def test_who_stops_taking_pictures_leaves_no_decoder(room: list[Station4]) -> None:
    before = threading.active_count()
    with Pictures(video_of(room[0]), 0, room[0].frame_count, SIZE) as pictures:
        next(iter(pictures))
    assert threading.active_count() == before


# --- films ------------------------------------------------------------------------------------


def film_of(
    room: list[Station4], folder: Path, first: int, last: int, slower: int
) -> tuple[Path, Any, list[list[int | None]]]:
    """A film of these views; which frames are right in each picture is known from the truth."""
    leading = room[0]
    middles = [(leading.edges_s[n] + leading.edges_s[n + 1]) / 2 for n in range(first, last + 1)]
    right = [[one.true_frame(at_s) for one in room] for at_s in middles]
    frames = np.array([[NOT_HERE if f is None else f for f in row] for row in right])
    sheet = film_sheet([SIZE] * len(room))
    ticks = leading.rendered.of_kind("video")[0].frame_pts
    assert ticks is not None
    target = folder / "film.mp4"
    make_film(
        target,
        sheet=sheet,
        views=[
            FilmView(video_of(one), frames[:, n], lambda f, s=one.camera.slug: Words(f"{f}", s))
            for n, one in enumerate(room)
        ],
        ticks=(ticks[first : last + 1] - ticks[first]) * slower,
        head=Words("Tomas Birk", "freestyle, 50 m", "14 November 2026"),
        not_here="Not filmed from here at this instant",
    )
    return target, sheet, right


@pytest.mark.parametrize(("views", "slower"), [(1, 1), (2, 8), (4, 2)])
def test_every_picture_shows_the_right_frame_of_every_view(
    room: list[Station4], tmp_path: Path, views: int, slower: int
) -> None:
    some = room[:views] if views != 2 else [room[2], room[0]]  # the uneven camera leads
    last = 60 if views != 2 else 30
    path, sheet, right = film_of(some, tmp_path, 4, last, slower)
    shown = pictures_of(path, sheet.width, sheet.height)
    assert len(shown) == last - 3
    for picture, frames in zip(shown, right, strict=True):
        for cell, one, frame in zip(sheet.cells, some, frames, strict=True):
            there = picture[cell.top : cell.top + cell.height, cell.left : cell.left + cell.width]
            assert one.frame_of(painted.read(there)) == frame
    ticks = some[0].rendered.of_kind("video")[0].frame_pts
    assert ticks is not None
    assert packet_pts(path) == ((ticks[4 : last + 1] - ticks[4]) * slower).tolist()


def test_a_view_that_is_not_there_says_so(room: list[Station4], tmp_path: Path) -> None:
    """The uneven camera begins late and ends early."""
    some = [room[3], room[2]]
    last = room[3].frame_count - 1
    path, sheet, right = film_of(some, tmp_path, 0, last, 1)
    absent = [frames[1] is None for frames in right]
    assert absent[0] and absent[-1] and not all(absent)
    cell = sheet.cells[1]
    for picture, empty in zip(pictures_of(path, sheet.width, sheet.height), absent, strict=True):
        there = picture[cell.top : cell.top + cell.height, cell.left : cell.left + cell.width]
        assert (painted.read(there) is None) == empty
        if empty:  # dark, with some words in its middle
            assert there[:20].max() < 60 and there[150:210].max() > 120


def test_words_stand_below_their_picture(room: list[Station4], tmp_path: Path) -> None:
    """What is written changes with the frame, and is the very band that was asked for."""
    path, sheet, right = film_of(room[:2], tmp_path, 60, 65, 1)
    cell = sheet.cells[1]
    assert all(frames[1] is not None for frames in right)
    for picture, frames in zip(pictures_of(path, sheet.width, sheet.height), right, strict=True):
        size = (cell.box_width, sheet.words_px, sheet.text_px)
        asked = band(Words(f"{frames[1]}", "underwater"), *size).astype(float)
        other = band(Words(f"{(frames[1] or 0) + 7}", "underwater"), *size).astype(float)
        bar = picture[cell.words_top :, cell.box_left :][: sheet.words_px, : cell.box_width]
        found = (bar * (219 / 255) + 16 - 44) / (225 - 44) * 255  # from full range
        off = [np.abs(found - ink).mean() for ink in (asked, other)]
        assert off[0] < 12 and off[0] < off[1]


def test_a_film_is_plain_video_without_sound_or_metadata(
    room: list[Station4], tmp_path: Path
) -> None:
    path, _, _ = film_of(room[:1], tmp_path, 0, 9, 1)
    argv = ["ffprobe", "-v", "error", "-show_streams", "-show_format", "-of", "json", str(path)]
    said = json.loads(subprocess.run(argv, check=True, capture_output=True).stdout)
    [stream] = said["streams"]
    assert (stream["codec_name"], stream["pix_fmt"]) == ("h264", "yuv420p")
    assert stream["color_space"] == "bt709"
    assert set(said["format"]["tags"]) <= {"major_brand", "minor_version", "compatible_brands"}
    assert set(stream["tags"]) <= {"language", "handler_name", "vendor_id", "encoder"}
    assert stream["tags"].get("encoder", "Lavc libx264") == "Lavc libx264"  # and no version
    content = path.read_bytes()
    assert content.index(b"moov") < content.index(b"mdat")  # it plays before it is there whole


def test_who_raises_meanwhile_ends_the_work(room: list[Station4], tmp_path: Path) -> None:
    class Enough(Exception):
        pass

    def stop(share: float) -> None:
        if share > 0.3:
            raise Enough

    before = threading.active_count()
    one = room[0]
    with pytest.raises(Enough):
        make_film(
            tmp_path / "film.mp4",
            sheet=film_sheet([SIZE]),
            views=[FilmView(video_of(one), np.arange(one.frame_count), lambda _: Words())],
            ticks=np.arange(one.frame_count) * 1500,
            head=Words(),
            not_here="",
            on_progress=stop,
        )
    assert threading.active_count() == before


def test_frames_keep_times_of_any_spacing(tmp_path: Path) -> None:
    """To the tick, over hours, for spacings from a tick to minutes."""
    ticks = np.cumsum(np.random.default_rng(3).integers(1, 9_000_000, 300)).tolist()
    frame = memoryview(bytes(64 * 36 * 3 // 2))
    size = {"width_px": 64, "height_px": 36}
    options: Any = {"vcodec": "libx264", "bf": 0, "video_track_timescale": 90_000}
    path = tmp_path / "times.mp4"
    encode_raw_frames([frame] * 300, path, **size, ticks=ticks, options=options)
    pts = packet_pts(path)
    assert [at - pts[0] for at in pts] == [at - ticks[0] for at in ticks]
    with pytest.raises(ValueError, match="shorter"):
        encode_raw_frames([frame] * 2, path, **size, ticks=[0, 1, 2], options=options)
    with pytest.raises(ValueError, match="rate"):
        encode_raw_frames([frame], path, **size, options=options)
    with pytest.raises(EncodeFailed):
        encode_raw_frames([frame], path, **size, ticks=[0], options={"vcodec": "no-such"})


# --- stills -----------------------------------------------------------------------------------


def test_a_still_holds_its_picture_its_words_and_what_is_drawn(
    room: list[Station4], tmp_path: Path
) -> None:
    [picture] = read_pictures(video_of(room[1]), [33], SIZE)
    overlay = Overlay(*SIZE)
    overlay.line([(100, 200), (300, 200)], 9, "#f2c230")
    overlay.rim((450, 200), (60, 40), 7, "#ff7a52")
    overlay.words((200, 300), "130°", 30, "#f2c230", "#06141a")
    sheet = still_sheet(SIZE)
    words = [Words("9.28 s", "Underwater 12.5 m", "needs a look")]
    image = compose_stills(sheet, [picture], [overlay], words, Words("Tomas Birk"))
    save_still(image, tmp_path / "still.jpg")
    saved = Image.open(tmp_path / "still.jpg")
    cell = sheet.cells[0]
    there = saved.crop((cell.left, cell.top, cell.left + 640, cell.top + 360))
    assert room[1].frame_of(number_in(np.asarray(there))) == 33
    near = lambda at, colour: max(  # noqa: E731
        abs(a - b) for a, b in zip(there.getpixel(at), colour, strict=True)
    )
    assert near((200, 200), (0xF2, 0xC2, 0x30)) < 20
    assert near((450 - 60, 200), (0xFF, 0x7A, 0x52)) < 30
    assert near((450, 200), (0xFF, 0x7A, 0x52)) > 60  # a rim is open
    assert ImageStat.Stat(there.crop((170, 285, 230, 315))).stddev[0] > 40
    below = saved.crop((0, cell.words_top, sheet.width, cell.words_top + sheet.words_px))
    assert below.convert("L").getextrema()[1] > 200 and below.getpixel((2, 2))[0] < BAR[0] + 12
    assert not saved.getexif() and "icc_profile" not in saved.info


def test_lines_have_smooth_edges_and_round_ends() -> None:
    overlay = Overlay(100, 100)
    overlay.line([(20, 20), (80, 61)], 10, "#ffffff")
    image = Image.new("RGB", (100, 100))
    overlay.onto(image)
    values = np.asarray(image)[..., 0]
    assert ((values > 30) & (values < 220)).sum() > 40  # between paper and ink
    assert values[20, 16] > 200 and values[14, 12] == 0


def test_a_row_has_separate_stills(room: list[Station4]) -> None:
    frames = [3, 20, 37, 54, 71]
    sheet = row_sheet(SIZE, 5)
    pictures = read_pictures(video_of(room[3]), frames, (sheet.cells[0].width, 360))
    words = [Words(f"{frame}") for frame in frames]
    image = np.asarray(compose_stills(sheet, pictures, [None] * 5, words, Words()))
    assert sheet.width == 3 * 640 + 2 * 8
    for frame, cell in zip(frames, sheet.cells, strict=True):
        there = image[cell.top : cell.top + cell.height, cell.left : cell.left + cell.width]
        assert room[3].frame_of(number_in(there)) == frame


# --- where things stand -----------------------------------------------------------------------

SIDES = st.integers(16, 4000)


@given(
    st.lists(st.tuples(SIDES, SIDES), min_size=1, max_size=12),
    st.integers(1, 4),
    st.tuples(st.integers(200, 1300), st.integers(200, 800)),
)
def test_nothing_on_a_sheet_overlaps_or_is_enlarged(
    sizes: list[tuple[int, int]], columns: int, most: tuple[int, int]
) -> None:
    sheet = sheet_of(sizes, columns=columns, most=most)
    taken = np.zeros((sheet.height, sheet.width), dtype=np.uint8)
    taken[: sheet.head_px] += 1
    for cell, (width, height) in zip(sheet.cells, sizes, strict=True):
        assert cell.width <= max(2, width) and cell.height <= max(2, height)
        assert cell.width <= most[0] and cell.height <= most[1]
        assert all(
            side % 2 == 0 for side in (cell.left, cell.top, cell.width, cell.height, cell.box_left)
        )
        parts = [(cell.top, cell.height, cell.left, cell.width)]
        parts += [(cell.words_top, sheet.words_px, cell.box_left, cell.box_width)]
        for top, tall, left, wide in parts:
            there = taken[top : top + tall, left : left + wide]
            assert there.shape == (tall, wide), "all of it lies on the sheet"
            there += 1
    assert taken.max() == 1 and sheet.width % 2 == sheet.height % 2 == 0


@given(st.text(max_size=60), st.text(max_size=60), st.text(max_size=60), st.integers(40, 700))
def test_words_never_leave_their_band(strong: str, plain: str, aside: str, width: int) -> None:
    ink = band(Words(strong, plain, aside), width, 40, 20)
    assert ink.shape == (40, width)
    assert ink[:, :4].max(initial=0) == 0 or width < 60


def test_long_words_give_way_to_the_time_and_the_state() -> None:
    short = band(Words("9.28 s", "Deck", "needs a look"), 400, 40, 20)
    long = band(
        Words("9.28 s", "Deck, walking along with the swimmer", "needs a look"), 400, 40, 20
    )
    assert np.array_equal(short[:, :90], long[:, :90])
    assert np.array_equal(short[:, -150:], long[:, -150:])
