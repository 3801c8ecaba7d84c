"""Stills and films to take along, made by the real job and read back: the number painted on a
frame says which frame it is, and the truth about the four cameras (painted_room.py) which one is
right."""

from __future__ import annotations

import subprocess
from typing import Any

import numpy as np
import pytest
from django.utils import timezone
from PIL import Image

from clinics.management.demo import painted
from clinics.media.letters import Words, band
from clinics.media.sheet import Sheet, film_sheet, row_sheet, still_sheet
from feedback.actions.draw import draw
from feedback.compute.take_along import Kind
from feedback.models import Drawing, TakeAlong
from portal.models import User
from tests.feedback.filmed_swim import SIZE, Filmed, path_of
from tests.feedback.painted_room import Station4
from tests.media.film import ffprobe


def pictures_of(row: TakeAlong, sheet: Sheet) -> list[Any]:
    argv = ["ffmpeg", "-v", "error", "-i", str(path_of(row)), "-fps_mode", "passthrough"]
    raw = subprocess.run(
        [*argv, "-f", "rawvideo", "-pix_fmt", "gray", "-"], check=True, capture_output=True
    ).stdout
    return list(np.frombuffer(raw, dtype=np.uint8).reshape(-1, sheet.height, sheet.width))


def cells_of(picture: Any, sheet: Sheet) -> list[Any]:
    return [
        picture[cell.top : cell.top + cell.height, cell.left : cell.left + cell.width]
        for cell in sheet.cells
    ]


def says(picture: Any, sheet: Sheet, n: int, time: str, dark: float, light: float) -> bool:
    """Whether the bar below a cell begins with this time, and with no other of a hundredth."""
    cell = sheet.cells[n]
    bar = picture[cell.words_top : cell.words_top + sheet.words_px, cell.box_left :][:, :110]
    ink = (bar.astype(float) - dark) / (light - dark) * 255

    def off(text: str) -> float:
        asked = band(Words(text), cell.box_width, sheet.words_px, sheet.text_px)[:, :110]
        place = round(sheet.text_px * 6)  # before whatever is beside it
        return float(np.abs(ink - asked)[:, :place].mean())

    last = int(time[-3])
    others = [f"{time[:-3]}{(last + step) % 10} s" for step in (1, 5)]
    return off(time) < min(off(other) for other in others)


# --- films ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("places", "frames", "rate"),
    [((1, 0), (40, 100), "1/4"), ((2, 1, 0, 3), (3, 40), "1/2"), ((3,), (10, 40), "1")],
)
def test_a_film_shows_every_view_in_step(
    filmed: Filmed, places: tuple[int, ...], frames: tuple[int, int], rate: str
) -> None:
    row = filmed.made(filmed.spec(Kind.FILM, *places, frames=frames, rate=rate))
    sheet = film_sheet([SIZE] * len(places))
    shown = pictures_of(row, sheet)
    some = [filmed.stations[place] for place in places]
    leading = some[0]
    assert len(shown) == frames[1] - frames[0] + 1
    for picture, frame in zip(shown, range(frames[0], frames[1] + 1), strict=True):
        read = [
            one.frame_of(painted.read(there))
            for one, there in zip(some, cells_of(picture, sheet), strict=True)
        ]
        assert read[0] == frame  # each of the leading view, once
        instant = (leading.edges_s[frame] + leading.edges_s[frame + 1]) / 2
        for one, found in zip(some, read, strict=True):
            right = one.true_frame(float(instant))
            if found != right:  # the fit is to the microsecond
                assert found is not None and one.excess_s(found, float(instant)) < 5e-6
            if found is not None:
                assert says(picture, sheet, some.index(one), *_written(filmed, one, found))
    ticks = leading.rendered.of_kind("video")[0].frame_pts
    assert ticks is not None
    pts = [int(line[0]) for line in ffprobe(path_of(row), "-show_entries", "packet=pts")]
    slower = {"1": 1, "1/2": 2, "1/4": 4}[rate]
    assert pts == [int(t - ticks[frames[0]]) * slower for t in ticks[frames[0] : frames[1] + 1]]


def _written(filmed: Filmed, one: Station4, frame: int) -> tuple[str, float, float]:
    return filmed.time(filmed.stations.index(one), frame), 32.6, 243.4


def test_a_film_says_what_is_not_sure_and_who_swam(filmed: Filmed) -> None:
    """Seen as a difference: the same film, sure and with its name."""
    spec = filmed.spec(Kind.FILM, 0, frames=(5, 9), named=False)
    plain = pictures_of(filmed.made(spec), sheet := film_sheet([SIZE]))[0]
    named = filmed.spec(Kind.FILM, 0, frames=(5, 9))
    filmed.clips[0].recording.clock_fit.state = "look"
    filmed.clips[0].recording.clock_fit.save()
    told = pictures_of(filmed.made(named), sheet)[0]
    cell = sheet.cells[0]
    head, below = slice(0, sheet.head_px), slice(cell.words_top, cell.words_top + sheet.words_px)
    right = slice(sheet.width // 2, None)
    for rows, columns in ((head, slice(0, 200)), (below, right)):
        assert np.abs(plain[rows, columns].astype(int) - told[rows, columns]).mean() > 3
    assert (
        np.abs(plain[cell.top : below.start].astype(int) - told[cell.top : below.start]).max() < 9
    )


# --- stills -----------------------------------------------------------------------------------


def drawn(filmed: Filmed, by: User, frame: int = 30, **more: Any) -> Drawing:
    told = {"kind": "level", "points": [(0.5, 0.5)], "width_px": 640, "height_px": 360}
    swim, clip = filmed.cast.swims["tomas"], filmed.clips[1]
    return draw(swim=swim, by=by, clip=clip, frame=frame, **{**told, **more})


def line_on(row: TakeAlong, at: float = 0.5) -> bool:
    """Whether a yellow level is printed at this height."""
    cell = still_sheet(SIZE).cells[0]
    image = np.asarray(Image.open(path_of(row)).convert("RGB")).astype(int)
    y = cell.top + round(cell.height * at)
    there = image[y, cell.left + 20 : cell.left + cell.width - 20]
    return bool((np.abs(there - (0xF2, 0xC2, 0x30)).max(axis=1) < 40).mean() > 0.9)


def number_on(row: TakeAlong, sheet: Sheet) -> list[int | None]:
    image = np.asarray(Image.open(path_of(row)).convert("L"))
    return [painted.read(cell) for cell in cells_of(image, sheet)]


def test_a_still_is_that_frame_with_its_drawings(filmed: Filmed) -> None:
    drawn(filmed, filmed.cast.coach)
    sheet = still_sheet(SIZE)
    with_line = filmed.made(filmed.still(drawings=True))
    without = filmed.made(filmed.still())
    another = filmed.made(filmed.still(31, drawings=True))
    for row, frame in ((with_line, 30), (without, 30), (another, 31)):
        [number] = number_on(row, sheet)
        assert filmed.stations[1].frame_of(number) == frame
        image = np.asarray(Image.open(path_of(row)).convert("L"))
        assert says(image, sheet, 0, filmed.time(1, frame), 32.0, 244.0)
    assert [line_on(row) for row in (with_line, without, another)] == [True, False, False]


def test_what_stands_for_a_span_is_on_each_of_its_frames(filmed: Filmed) -> None:
    drawn(filmed, filmed.cast.coach, frame=30, until_frame=40)
    found = [line_on(filmed.made(filmed.still(n, drawings=True))) for n in (29, 30, 37, 40, 41)]
    assert found == [False, True, True, True, False]


def test_a_printed_angle_is_said_to_be_as_seen(filmed: Filmed) -> None:
    """Beside the picture whose figure it is, and only there."""
    drawn(filmed, filmed.cast.coach, frame=31)
    drawn(filmed, filmed.cast.coach, kind="joint", points=[(0.3, 0.3), (0.5, 0.5), (0.7, 0.4)])
    cell = (sheet := still_sheet(SIZE)).cells[0]
    size = (cell.box_width, sheet.words_px, sheet.text_px)
    expected = {
        aside: band(Words(aside=aside), *size)[:, cell.box_width // 2 :]
        for aside in ("within 0.2 s", "angle as seen · within 0.2 s")
    }
    for frame, right in ((31, "within 0.2 s"), (30, "angle as seen · within 0.2 s")):
        image = Image.open(path_of(filmed.made(filmed.still(frame, drawings=True)))).convert("L")
        bar = np.asarray(image)[cell.words_top : cell.words_top + sheet.words_px]
        found = (bar[:, cell.box_left + cell.box_width // 2 :].astype(float) - 32) / (244 - 32)
        off = {aside: np.abs(found * 255 - ink).mean() for aside, ink in expected.items()}
        assert min(off, key=lambda aside: off[aside]) == right, off


def test_drafts_and_notes_are_only_in_ones_own_still(filmed: Filmed) -> None:
    coach, tomas = filmed.cast.coach, filmed.cast.tomas
    draft = drawn(filmed, coach)
    spec = filmed.still(drawings=True)
    assert line_on(filmed.made(spec))
    assert not line_on(filmed.made(spec, for_swimmer=True))
    assert not line_on(filmed.made(spec, tomas))
    Drawing.objects.filter(pk=draft.pk).update(sent_at=timezone.now(), for_coaches=True)
    assert not line_on(filmed.made(spec, for_swimmer=True)) and line_on(filmed.made(spec))
    Drawing.objects.filter(pk=draft.pk).update(for_coaches=False)
    assert line_on(filmed.made(spec, for_swimmer=True)) and line_on(filmed.made(spec, tomas))


def test_a_row_has_stills_at_equal_steps(filmed: Filmed) -> None:
    drawn(filmed, filmed.cast.coach, frame=52)
    row = filmed.made(filmed.spec(Kind.ROW, 1, frames=(20, 116), count=7, drawings=True))
    sheet = row_sheet(SIZE, 7)
    read = [filmed.stations[1].frame_of(number) for number in number_on(row, sheet)]
    assert read == [20, 36, 52, 68, 84, 100, 116]
    image = np.asarray(Image.open(path_of(row)).convert("L"))
    assert all(
        says(image, sheet, n, filmed.time(1, frame or 0), 32.0, 244.0)
        for n, frame in enumerate(read)
    )
    colours = np.asarray(Image.open(path_of(row)).convert("RGB")).astype(int)
    yellow = [
        (
            np.abs(colours[c.top + 180, c.left + 20 : c.left + 600] - (242, 194, 48)).max(1) < 40
        ).mean()
        for c in sheet.cells
    ]
    assert [share > 0.9 for share in yellow] == [False, False, True] + [False] * 4


def test_a_row_of_an_uneven_camera_stands_nearest_to_its_steps(filmed: Filmed) -> None:
    one = filmed.stations[2]
    row = filmed.made(filmed.spec(Kind.ROW, 2, frames=(2, 50), count=5))
    read = [one.frame_of(number) for number in number_on(row, row_sheet(SIZE, 5))]
    steps = np.linspace(one.edges_s[2], one.edges_s[50], 5)
    begins = one.edges_s[:-1]
    assert read == [int(np.abs(begins - step).argmin()) for step in steps]
