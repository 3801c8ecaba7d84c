"""Stills and films to take along, made by the real job and read back: the number painted on a
frame says which frame it is, and the truth about the four cameras (painted_room.py) which one is
right. And the fence around them."""

from __future__ import annotations

import datetime as dt
import re
import subprocess
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from PIL import Image

from clinics.actions.check import reassign
from clinics.actions.consent import end_consent, record_consent
from clinics.management.demo import painted
from clinics.media.letters import Words, band
from clinics.media.sheet import Sheet, film_sheet, row_sheet, still_sheet
from clinics.models import Clip, ClipFile, Recognised
from feedback.actions import make_take_along
from feedback.actions import take_along as acts
from feedback.actions.draw import draw
from feedback.actions.frames import FrameUnknown
from feedback.compute.take_along import Kind, Spec
from feedback.models import Drawing, TakeAlong
from portal.actions.job_worker import drain
from portal.actions.jobs import cancel, retry
from portal.models import AuditEntry, Job, StoredFile, User
from tests.cast import FIRST_START, Cast, make_stored, sign_in
from tests.feedback.painted_room import Station4, put_room
from tests.media.film import ffprobe

SIZE = (640, 360)
HTMX = {"HX-Request": "true"}


@dataclass
class Filmed:
    """Tomas's swim from four places."""

    cast: Cast
    clips: list[Clip]
    stations: list[Station4]

    def spec(self, kind: Kind, *places: int, frames: tuple[int, int], **more: Any) -> Spec:
        clips = [self.clips[place] for place in places]
        names = tuple(clip.station.name for clip in clips)
        return Spec(kind, tuple(str(clip.pk) for clip in clips), names, *frames, **more)

    def still(self, frame: int = 30, place: int = 1, **more: Any) -> Spec:
        return self.spec(Kind.STILL, place, frames=(frame, frame), **more)

    def ask(self, spec: Spec, by: User | None = None, **more: Any) -> TakeAlong:
        by = by or self.cast.coach
        return acts.ask(swim=self.cast.swims["tomas"], by=by, spec=spec, **more)

    def made(self, spec: Spec, by: User | None = None, **more: Any) -> TakeAlong:
        row = self.ask(spec, by, **more)
        drain()
        row.refresh_from_db()
        assert row.state == TakeAlong.State.READY, row.reason
        return row

    def time(self, place: int, frame: int) -> str:
        """As it is written beside the frame."""
        return f"{float(self.stations[place].edges_s[frame]):.2f} s"


@pytest.fixture
def filmed(cast: Cast, stations: list[Station4]) -> Filmed:
    return Filmed(cast, put_room(cast, stations), stations)


def path_of(row: TakeAlong) -> Path:
    assert row.stored is not None
    return row.stored.local_path()


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


# --- asking and the job -----------------------------------------------------------------------


def test_the_same_asked_again_while_it_waits_is_one(filmed: Filmed) -> None:
    one, again = filmed.ask(filmed.still()), filmed.ask(filmed.still())
    assert one == again and Job.objects.filter(kind=acts.JOB_KIND).count() == 1
    others = [
        filmed.ask(filmed.still(31)),
        filmed.ask(filmed.still(), for_swimmer=True),
        filmed.ask(filmed.still(), filmed.cast.tomas),
        filmed.ask(filmed.still(drawings=True)),
    ]
    assert len({one.pk, *(other.pk for other in others)}) == 5
    drain()
    assert filmed.ask(filmed.still()) != one  # what is drawn may be other by now


def test_only_frames_and_views_of_that_swim_are_taken(filmed: Filmed) -> None:
    clip = filmed.clips[1]
    elsewhere = filmed.cast.clips["wren"][0]
    bad = Spec(Kind.STILL, (str(elsewhere.pk),), ("x",), 0, 0)
    for spec in (filmed.still(clip.frame_count), bad):
        with pytest.raises(FrameUnknown):
            filmed.ask(spec)
    ClipFile.objects.filter(clip=clip, kind="video").update(pts_table=None)
    with pytest.raises(FrameUnknown):
        filmed.ask(filmed.still())
    assert not TakeAlong.objects.exists()


def test_so_many_may_wait_and_no_more(filmed: Filmed) -> None:
    for frame in range(acts.MOST_WAITING):
        filmed.ask(filmed.still(frame))
    with pytest.raises(acts.TooManyWaiting):
        filmed.ask(filmed.still(99))
    assert filmed.ask(filmed.still(0)).spec["from_frame"] == 0


def test_the_job_may_run_twice(filmed: Filmed) -> None:
    row = filmed.made(filmed.still())
    job = Job.objects.get(kind=acts.JOB_KIND)
    before = row.stored_id
    make_take_along.run_make(job, lambda *told: None)
    row.refresh_from_db()
    assert row.stored_id == before
    assert StoredFile.objects.filter(kind=acts.FILE_KIND).count() == 1


def test_a_film_is_cancelled_while_it_is_made(filmed: Filmed, settings: Any) -> None:
    row = filmed.ask(filmed.spec(Kind.FILM, 0, 1, frames=(0, 200)))
    job = Job.objects.get(kind=acts.JOB_KIND)
    told: list[float] = []

    def pulse(share: float, _left: float | None = None) -> None:
        told.append(share)
        if share > 0.3:
            cancel(job=job, by=filmed.cast.coach)
            raise make_take_along.JobStopped("cancelled")

    with pytest.raises(make_take_along.JobStopped):
        make_take_along.run_make(job, pulse)
    row.refresh_from_db()
    assert row.stored is None and row.state == TakeAlong.State.WAITING
    assert told == sorted(told) and len(told) > 20
    assert not list(Path(settings.WORK_DIR).glob("take-along-*"))


def test_what_cannot_be_read_says_why_and_can_be_tried_again(filmed: Filmed) -> None:
    path = filmed.clips[1].files.filter(kind="video").order_by("-height")[0].stored.local_path()
    content = path.read_bytes()
    path.write_bytes(b"no film at all")
    row = filmed.ask(filmed.still())
    drain()
    row.refresh_from_db()
    job = Job.objects.get(kind=acts.JOB_KIND)
    assert (row.state, job.state) == (TakeAlong.State.FAILED, Job.State.FAILED)
    assert "Underwater" in row.reason and row.stored is None
    page = sign_in(Client(), filmed.cast.coach).get(url(filmed)).content.decode()
    assert "Failed: " in page and "Try again" in page
    path.write_bytes(content)
    retry(job=job, by=filmed.cast.coach)
    drain()
    row.refresh_from_db()
    assert row.state == TakeAlong.State.READY and row.reason == ""


# --- the fence --------------------------------------------------------------------------------


def url(filmed: Filmed) -> str:
    return reverse("feedback:take-along", args=[filmed.cast.swims["tomas"].pk])


def file_url(row: TakeAlong) -> str:
    return reverse("feedback:take-along-file", args=[row.pk])


def fetched(user: User, row: TakeAlong, **headers: str) -> int:
    answer = sign_in(Client(), user).get(file_url(row), headers=headers)
    assert b"".join(answer) if answer.streaming else answer.content  # type: ignore[union-attr]
    return int(answer.status_code)


def test_who_gets_it(filmed: Filmed) -> None:
    cast = filmed.cast
    mine, made = filmed.made(filmed.still()), filmed.made(filmed.still(), for_swimmer=True)
    own = filmed.made(filmed.still(), cast.tomas)
    for who, user in cast.people().items():
        if user is None:
            continue
        found = {name for name, row in (("mine", mine), ("made", made), ("own", own))
                 if fetched(user, row) == 200}  # fmt: skip
        expected = {"coach": {"mine", "made"}, "swimmer": {"made", "own"}}.get(who, set())
        assert found == expected, who


def test_the_swimmer_gets_it_once_the_swim_is_given(filmed: Filmed) -> None:
    made = filmed.made(filmed.still(), for_swimmer=True)
    swim = filmed.cast.swims["tomas"]
    for given_at, status in ((None, 404), (timezone.now(), 200)):
        type(swim).objects.filter(pk=swim.pk).update(given_at=given_at)
        assert fetched(filmed.cast.tomas, made) == status


def gone(filmed: Filmed, row: TakeAlong, user: User) -> None:
    """Whole, in parts, in the list, as a job, and to whoever wants to remove it."""
    random_id = reverse("feedback:take-along-file", args=[filmed.clips[0].pk])
    absent = sign_in(Client(), user).get(random_id)
    for headers in ({}, {"Range": "bytes=100-199"}):
        answer = sign_in(Client(), user).get(file_url(row), headers=headers)
        assert answer.status_code == absent.status_code == 404
        assert answer.content.replace(str(row.pk).encode(), b"") == absent.content.replace(
            str(filmed.clips[0].pk).encode(), b""
        )
    page = sign_in(Client(), user).get(url(filmed))
    assert page.status_code == 404 or str(row.pk) not in page.content.decode()
    remove = reverse("feedback:take-along-remove", args=[row.pk])
    assert sign_in(Client(), user).post(remove).status_code == 404
    assert not Job.objects.visible_to(user).filter(subject_id=row.pk).exists()


def test_withdrawing_takes_it_from_others_at_once(filmed: Filmed) -> None:
    row = filmed.made(filmed.still())
    own = filmed.made(filmed.still(), filmed.cast.tomas)
    coach, swimmer = filmed.cast.coach, filmed.cast.swims["tomas"].entry.swimmer
    assert fetched(coach, row) == 200 and fetched(coach, row, Range="bytes=0-99") == 206
    end_consent(swimmer=swimmer, purpose="film-and-review", by=filmed.cast.tomas)
    gone(filmed, row, coach)
    assert fetched(filmed.cast.tomas, own) == 200  # time to take along what is theirs
    for one in (row, own):
        one.refresh_from_db()
        clip = Clip.objects.get(pk=filmed.clips[1].pk)
        assert one.stored is not None and one.stored.delete_by == clip.delete_by is not None
    record_consent(swimmer=swimmer, purpose="film-and-review", by=filmed.cast.admin)
    own.stored.refresh_from_db()  # type: ignore[union-attr]
    later = Clip.objects.get(pk=filmed.clips[1].pk).delete_by
    assert own.stored and later and own.stored.delete_by == later > clip.delete_by
    assert fetched(coach, row) == 200


def test_somebody_else_in_the_picture_withdraws(filmed: Filmed) -> None:
    wren = filmed.cast.swims["wren"].entry.swimmer
    Recognised.objects.create(swim=filmed.cast.swims["tomas"], swimmer=wren)
    row = filmed.made(filmed.spec(Kind.FILM, 0, 1, frames=(5, 9)), for_swimmer=True)
    assert fetched(filmed.cast.coach, row) == fetched(filmed.cast.tomas, row) == 200
    end_consent(swimmer=wren, purpose="film-and-review", by=filmed.cast.wren)
    for user in (filmed.cast.coach, filmed.cast.tomas):
        gone(filmed, row, user)


def test_a_job_in_the_queue_does_nothing_after_that(filmed: Filmed) -> None:
    row = filmed.ask(filmed.spec(Kind.FILM, 0, 1, frames=(5, 9)))
    swimmer = filmed.cast.swims["tomas"].entry.swimmer
    end_consent(swimmer=swimmer, purpose="film-and-review", by=filmed.cast.tomas)
    drain()
    row.refresh_from_db()
    assert row.state == TakeAlong.State.FAILED and row.stored is None
    assert not StoredFile.objects.filter(kind=acts.FILE_KIND).exists()


def test_withdrawn_while_it_is_made_it_is_not_published(
    filmed: Filmed, monkeypatch: pytest.MonkeyPatch
) -> None:
    swimmer = filmed.cast.swims["tomas"].entry.swimmer
    really = make_take_along.save_still

    def save_and_withdraw(*told: Any) -> None:
        really(*told)
        end_consent(swimmer=swimmer, purpose="film-and-review", by=filmed.cast.tomas)

    monkeypatch.setattr(make_take_along, "save_still", save_and_withdraw)
    row = filmed.ask(filmed.still())
    drain()
    row.refresh_from_db()
    assert row.state == TakeAlong.State.FAILED and row.stored is None
    assert not StoredFile.objects.filter(kind=acts.FILE_KIND).exists()


@pytest.mark.parametrize("what", ["removed", "made again", "being made", "due", "another's"])
def test_what_it_was_made_of_changes(
    filmed: Filmed, what: str, django_capture_on_commit_callbacks: Any
) -> None:
    """Out of sight at once, the file with the next sweep; but what is only being made again
    may become what it was."""
    row = filmed.made(filmed.spec(Kind.FILM, 0, 1, frames=(5, 9)))
    path, clips = path_of(row), Clip.objects.filter(pk=filmed.clips[1].pk)
    later = timezone.now() + dt.timedelta(seconds=5)
    if what == "removed":
        filmed.clips[1].delete()
    elif what == "made again":
        clips.update(rendered_at=later)
        row.swim.passed_at = later
        row.swim.save()
    elif what == "being made":
        clips.update(state="rendering")
    elif what == "due":
        clips.update(delete_by=timezone.now())
    else:
        reassign(swim=row.swim, entry=filmed.cast.swims["wren"].entry, by=filmed.cast.checker)
        type(row.swim).objects.filter(pk=row.swim_id).update(
            passed_at=later, person="confirmed", others_recorded_at=later, given_at=later
        )
    gone(filmed, row, filmed.cast.coach)
    with django_capture_on_commit_callbacks(execute=True):
        swept = acts.sweep()
    stays = what == "being made"
    assert (swept, path.exists(), TakeAlong.objects.filter(pk=row.pk).exists()) == (
        int(not stays),
        stays,
        stays,
    )


def test_the_sweep_takes_files_whose_swim_is_gone(filmed: Filmed) -> None:
    row = filmed.made(filmed.still())
    stored, path = row.stored, path_of(row)
    other = make_stored(filmed.cast.harbour, b"x", kind="poster", suffix=".jpg")
    row.delete()  # as a swim that was none takes its rows along
    assert acts.sweep() == 0 and path.exists()  # it may be about to get its row
    old = timezone.now() - acts.ORPHAN_AFTER - dt.timedelta(seconds=1)
    StoredFile.objects.filter(pk__in=[stored.pk, other.pk]).update(created_at=old)  # type: ignore[union-attr]
    assert acts.sweep() == 1 and not path.exists() and other.local_path().exists()
    assert acts.sweep() == 0


def test_the_sweep_leaves_what_is_in_sight(filmed: Filmed) -> None:
    filmed.made(filmed.still())
    filmed.ask(filmed.still(40))
    assert acts.sweep() == 0 and TakeAlong.objects.count() == 2


# --- pages ------------------------------------------------------------------------------------


def test_each_download_counts_among_who_saw_the_swim(filmed: Filmed) -> None:
    row, other = filmed.made(filmed.still()), filmed.made(filmed.still(31))
    coach, entries = filmed.cast.coach, AuditEntry.objects.filter(action="take-along.download")

    def counted() -> int:
        return entries.count()

    assert fetched(coach, row, Range="bytes=5-9") == 206 and counted() == 1
    assert fetched(coach, row, Range="bytes=10-19") == 206 and counted() == 1
    assert fetched(coach, other, Range="bytes=5-9") == 206 and counted() == 2
    assert fetched(coach, row) == 200 and counted() == 3
    entry = entries.order_by("-seq")[0]
    assert (entry.actor_id, entry.subject_id) == (coach.pk, str(row.swim_id))
    assert sign_in(Client(), coach).head(file_url(row)).status_code == 200 and counted() == 3
    assert fetched(filmed.cast.wren, row) == 404 and counted() == 3


@pytest.mark.parametrize(
    ("spec", "name"),
    [
        ({}, "Tomas Birk 14 Nov Underwater 12.5 m 0.09 s.jpg"),
        ({"named": False}, "14 Nov Underwater 12.5 m 0.09 s.jpg"),
    ],
)
def test_it_is_saved_under_a_plain_name(filmed: Filmed, spec: dict[str, Any], name: str) -> None:
    row = filmed.made(filmed.still(**spec))
    answer = sign_in(Client(), filmed.cast.coach).get(file_url(row))
    assert answer["Content-Disposition"] == f'attachment; filename="{name}"'
    assert answer["Cache-Control"] == "private, no-store" and answer["Content-Type"] == "image/jpeg"


def test_names_of_films_and_rows_and_of_people_with_other_letters(filmed: Filmed) -> None:
    swimmer = filmed.cast.swims["tomas"].entry.swimmer
    swimmer.name = 'Zoë "Z/" Łukasik'
    swimmer.save()
    film = filmed.made(filmed.spec(Kind.FILM, 1, 0, frames=(5, 9), rate="1/4"))
    answer = sign_in(Client(), filmed.cast.coach).get(file_url(film))
    said = answer["Content-Disposition"]
    assert said.startswith("attachment; filename*=utf-8''Zo%C3%AB%20Z%20%C5%81ukasik%2014%20Nov")
    assert said.endswith("%20%28speed%201-4%29.mp4") and answer["Content-Type"] == "video/mp4"
    row = filmed.made(filmed.spec(Kind.ROW, 1, frames=(5, 9), count=4))
    said = sign_in(Client(), filmed.cast.coach).get(file_url(row))["Content-Disposition"]
    assert said.endswith("%20s%20%284%20stills%29.jpg")


def posted(filmed: Filmed, user: User | None = None, **told: Any) -> Any:
    usual = {"kind": "still", "clip": str(filmed.clips[1].pk), "frame": "30", "named": "on"}
    client = sign_in(Client(), user or filmed.cast.coach)
    headers = told.pop("headers", {})
    return client.post(url(filmed), {**usual, **told}, headers=headers)


def test_a_form_asks_without_script(filmed: Filmed) -> None:
    answer = posted(filmed, drawings="on")
    assert answer.status_code == 302 and answer["Location"] == url(filmed)
    row = TakeAlong.objects.get()
    spec = filmed.still(drawings=True)
    assert row.spec == {**spec.to_json(), "at_s": row.spec["at_s"]} and not row.for_swimmer
    page = sign_in(Client(), filmed.cast.coach).get(url(filmed)).content.decode()
    assert "<b>Still</b>" in page and "0.09 s" in page and "data-job=" in page
    drain()
    page = sign_in(Client(), filmed.cast.coach).get(url(filmed)).content.decode()
    assert file_url(row) in page and "data-job=" not in page


def test_a_script_gets_the_list_alone(filmed: Filmed) -> None:
    views = [str(clip.pk) for clip in filmed.clips]
    film = {"kind": "film", "from_frame": 3, "to_frame": 50, "rate": "1/8", "clips": views}
    answer = posted(filmed, **film, for_swimmer="on", headers=HTMX)
    assert answer.status_code == 200 and "<html" not in answer.content.decode()
    row = TakeAlong.objects.get()
    leading = str(filmed.clips[1].pk)
    assert row.spec["clips"] == [leading, *(key for key in views if key != leading)]
    assert (row.spec["rate"], row.for_swimmer, row.clip_count) == ("1/8", True, 4)
    assert {str(clip.pk) for clip in row.clips.all()} == set(views)


def test_the_list_has_the_newest_first(filmed: Filmed) -> None:
    """By their times, whatever order they were put in and their random keys have."""
    rows = [filmed.ask(filmed.still(frame)) for frame in range(4)]
    for at_s, row in zip((20, 40, 10, 30), rows, strict=True):
        TakeAlong.objects.filter(pk=row.pk).update(
            created_at=FIRST_START + dt.timedelta(seconds=at_s)
        )
    page = sign_in(Client(), filmed.cast.coach).get(url(filmed), headers=HTMX).text
    listed = re.findall(r'data-take-along="([^"]+)"', page)
    assert listed == [str(rows[n].pk) for n in (1, 3, 0, 2)]


def test_a_swimmer_asks_for_nobody_else(filmed: Filmed) -> None:
    posted(filmed, filmed.cast.tomas, for_swimmer="on")
    assert not TakeAlong.objects.get().for_swimmer


@pytest.mark.parametrize(
    ("told", "sentence"),
    [
        ({"frame": ""}, "which picture is meant"),
        ({"frame": "99999"}, "choose one of them"),
        ({"clip": ""}, "which picture is meant"),
        ({"clip": "wren"}, "That view is no longer there"),
        ({"kind": "row", "from_frame": 9, "to_frame": 12, "count": 6}, "ask for fewer stills"),
        ({"kind": "film", "from_frame": 12, "to_frame": 9}, "It ends before it begins"),
        ({"kind": "film", "from_frame": 12}, "which picture is meant"),
    ],
)
def test_what_is_wrong_is_said_in_words(
    filmed: Filmed, told: dict[str, Any], sentence: str
) -> None:
    if told.get("clip") == "wren":
        told = {"clip": str(filmed.cast.clips["wren"][0].pk)}
    for headers in ({}, HTMX):
        answer = posted(filmed, **told, headers=headers)
        assert answer.status_code == 422 and sentence in answer.content.decode()
    assert not TakeAlong.objects.exists()


def test_removing_takes_row_file_and_job(
    filmed: Filmed, django_capture_on_commit_callbacks: Any
) -> None:
    row, waits = filmed.made(filmed.still()), filmed.ask(filmed.still(31))
    path = path_of(row)
    client = sign_in(Client(), filmed.cast.coach)
    for one in (row, waits):
        with django_capture_on_commit_callbacks(execute=True):
            where = reverse("feedback:take-along-remove", args=[one.pk])
            assert client.post(where).status_code == 302
            assert client.post(where).status_code == 404
    assert not TakeAlong.objects.exists() and not path.exists()
    assert Job.objects.get(subject_id=waits.pk).state == Job.State.CANCELLED
    acts.remove(take_along=row, by=filmed.cast.coach)  # twice: nothing more is noted
    assert AuditEntry.objects.filter(action="take-along.remove").count() == 2


def test_what_is_made_for_the_swimmer_is_not_the_swimmers_to_remove(filmed: Filmed) -> None:
    row = filmed.made(filmed.still(), for_swimmer=True)
    where = reverse("feedback:take-along-remove", args=[row.pk])
    assert sign_in(Client(), filmed.cast.tomas).post(where).status_code == 404
    page = sign_in(Client(), filmed.cast.tomas).get(url(filmed)).content.decode()
    assert "made for you by Ines Aldana" in page and "take away" not in page
