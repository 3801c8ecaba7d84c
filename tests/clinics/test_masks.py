"""Masks: the rendered files are read back, and no trace of what stood under the mask is in
them. Each test first sees the pattern, so that it could fail."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from django.core.exceptions import PermissionDenied
from django.utils import timezone

from clinics.actions import board
from clinics.actions.check import record_others
from clinics.actions.check_rows import CheckRefused
from clinics.actions.close_clinic import close_clinic
from clinics.actions.cut import plan_cuts
from clinics.actions.masks import (
    Area,
    cover_clip,
    cover_station,
    uncover_clip,
    uncover_station,
)
from clinics.actions.open_again import open_again
from clinics.actions.pass_on import pass_swims
from clinics.actions.render_clips import render
from clinics.media.frames import load_frame_table
from clinics.models import Clip, ClipFile, ClipMask, StationMask, Swimmer
from portal.actions.job_worker import drain
from portal.models import AuditEntry, Hold, User
from tests.cast import Cast
from tests.clinics.mask_site import (
    AREA,
    film_clinic,
    make_pattern_film,
    original_goes,
    shows_pattern,
    still_of,
    strip_of,
    videos_of,
)
from tests.media.film import numbers_in

Made = Callable[..., Clip]
EVERYWHERE = {"540", "360", "poster", "strip"}


@pytest.fixture(scope="module")
def film(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_pattern_film(tmp_path_factory.mktemp("masks") / "00012.mp4")


@pytest.fixture
def clip(cast: Cast, film: Path) -> Clip:
    return film_clinic(cast, film)


@pytest.fixture
def made_again(django_capture_on_commit_callbacks: Callable) -> Made:
    """Run some acts with all that follows from them, then the renders; the clip as it is then."""

    def run(*acts: Callable[[], object]) -> Clip:
        for act in acts:
            with django_capture_on_commit_callbacks(execute=True):
                act()
        with django_capture_on_commit_callbacks(execute=True):
            drain(("render",))
        return Clip.objects.get()

    return run


def seen_anywhere(clip: Clip) -> set[str]:
    """In which of its files the pattern is to be seen."""
    films = {str(film[0].shape[0]): film for film in videos_of(clip)}
    seen = {height for height, film in films.items() if any(map(shows_pattern, film))}
    if shows_pattern(still_of(clip.files.get(kind="poster"))):
        seen.add("poster")
    if any(map(shows_pattern, strip_of(clip))):
        seen.add("strip")
    return seen


def test_what_a_station_covers_is_in_no_file(cast: Cast, clip: Clip, made_again: Made) -> None:
    assert seen_anywhere(clip) == EVERYWHERE
    again = made_again(lambda: cover_station(station=cast.start_side, area=AREA, by=cast.admin))
    assert (again.state, again.reason) == ("ready", "")
    assert seen_anywhere(again) == set()
    first = again.first_frame
    video = again.files.filter(kind="video").first().stored.local_path()
    assert numbers_in(video) == list(range(first, first + again.frame_count))


def test_the_old_files_are_gone_at_once(
    cast: Cast, clip: Clip, django_capture_on_commit_callbacks: Callable
) -> None:
    old = [row.stored.local_path() for row in clip.files.select_related("stored")]
    assert ClipFile.objects.all().handled_by(cast.checker).exists()
    with django_capture_on_commit_callbacks(execute=True):
        cover_station(station=cast.start_side, area=AREA, by=cast.checker)
    clip.refresh_from_db()
    assert clip.state == "waiting" and not clip.files.exists()
    assert old and not any(path.exists() for path in old)


def test_a_covered_clip_is_passed_on_anew(cast: Cast, clip: Clip, made_again: Made) -> None:
    pass_swims(swims=[clip.swim], by=cast.checker)
    assert Clip.objects.all().visible_to(cast.coach).exists()
    again = made_again(lambda: cover_station(station=cast.start_side, area=AREA, by=cast.checker))
    assert not Clip.objects.all().visible_to(cast.coach).exists()
    pass_swims(swims=[again.swim], by=cast.checker)
    assert Clip.objects.all().visible_to(cast.coach).exists()


def test_a_clip_is_covered_from_frame_to_frame(cast: Cast, clip: Clip, made_again: Made) -> None:
    begin = clip.first_frame + 20
    again = made_again(
        lambda: cover_clip(
            clip=clip, first_frame=begin, last_frame=begin + 9, area=AREA, by=cast.checker
        )
    )
    covered = [n for n, luma in enumerate(videos_of(again)[0]) if not shows_pattern(luma)]
    assert covered == list(range(20, 30))


def test_masks_in_sequence_follow_somebody(cast: Cast, clip: Clip, made_again: Made) -> None:
    left = Area(AREA.left, AREA.top, AREA.width / 2, AREA.height)
    right = Area(AREA.left + AREA.width / 2, AREA.top, AREA.width / 2, AREA.height)
    first, last = clip.first_frame, clip.first_frame + clip.frame_count - 1

    def cover() -> None:
        for area, begin, end in ((left, first, last), (right, first + 40, last)):
            cover_clip(clip=clip, first_frame=begin, last_frame=end, area=area, by=cast.checker)

    again = made_again(cover)
    seen = [shows_pattern(luma) for luma in videos_of(again)[0]]
    assert seen == [n < 40 for n in range(clip.frame_count)]


def test_uncovered_it_is_there_again(cast: Cast, clip: Clip, made_again: Made) -> None:
    again = made_again(lambda: cover_station(station=cast.start_side, area=AREA, by=cast.checker))
    assert seen_anywhere(again) == set()
    again = made_again(lambda: uncover_station(mask=StationMask.objects.get(), by=cast.admin))
    assert seen_anywhere(again) == EVERYWHERE
    actions = AuditEntry.objects.filter(action__startswith="mask.").order_by("seq")
    assert [entry.action for entry in actions] == ["mask.cover-station", "mask.uncover-station"]


def whole(clip: Clip, by: User, covers: Swimmer | None = None) -> ClipMask:
    frames = {"first_frame": clip.first_frame}
    frames["last_frame"] = clip.first_frame + clip.frame_count - 1
    return cover_clip(clip=clip, area=AREA, by=by, covers=covers, **frames)


def test_who_is_covered_need_not_agree_to_be_seen(cast: Cast, clip: Clip, made_again: Made) -> None:
    """The area is masked, or the clip is withheld."""
    sol = Swimmer.objects.get(user=cast.sol)  # agreed once, and withdrew
    record_others(swim=clip.swim, swimmers=[sol], by=cast.checker)
    _passed, refused = pass_swims(swims=[clip.swim], by=cast.checker)
    assert refused and "Sol Hagen can be recognised" in refused[0].reasons[0]
    again = made_again(lambda: whole(clip, cast.checker, covers=sol))
    passed, refused = pass_swims(swims=[again.swim], by=cast.checker)
    assert passed and not refused
    for user in (cast.coach, cast.tomas):
        assert list(Clip.objects.all().visible_to(user)) == [again]
    made_again(lambda: uncover_clip(mask=ClipMask.objects.get(), by=cast.checker))
    assert pass_swims(swims=[again.swim], by=cast.checker)[1]
    assert not Clip.objects.all().visible_to(cast.coach).exists()


# --- when the originals are gone -----------------------------------------------------------------


def test_without_originals_the_largest_rendition_is_covered(
    cast: Cast, clip: Clip, made_again: Made
) -> None:
    before = load_frame_table(clip.files.filter(kind="video").first().pts_table.local_path())
    original_goes(clip.recording)
    again = made_again(lambda: whole(clip, cast.checker))
    assert (again.state, again.reason) == ("ready", "")
    assert seen_anywhere(again) == set()
    video = again.files.filter(kind="video").order_by("-height").first()
    assert (load_frame_table(video.pts_table.local_path()) == before).all()
    span = (clip.first_frame, clip.frame_count)
    assert (again.first_frame, again.frame_count) == span
    assert numbers_in(video.stored.local_path()) == list(range(span[0], sum(span)))
    assert again.files.filter(kind="sound").count() == 1


def test_what_is_left_to_make_it_from_is_served_to_nobody(
    cast: Cast, clip: Clip, django_capture_on_commit_callbacks: Callable
) -> None:
    original_goes(clip.recording)
    with django_capture_on_commit_callbacks(execute=True):
        whole(clip, cast.checker)
    kinds = clip.files.values_list("kind", flat=True)
    assert sorted(kinds) == ["sound", "video"]
    for user in (cast.checker, cast.coach, cast.tomas):
        assert not ClipFile.objects.all().handled_by(user).exists()
        assert not ClipFile.objects.all().visible_to(user).exists()


def test_without_originals_it_stays_covered(cast: Cast, clip: Clip, made_again: Made) -> None:
    made_again(
        lambda: whole(clip, cast.checker),
        lambda: cover_station(station=cast.start_side, area=AREA, by=cast.checker),
    )
    original_goes(clip.recording)
    with pytest.raises(CheckRefused, match="stays covered"):
        uncover_clip(mask=ClipMask.objects.get(), by=cast.checker)
    with pytest.raises(CheckRefused, match="stays covered"):
        uncover_station(mask=StationMask.objects.get(), by=cast.checker)
    assert ClipMask.objects.exists() and StationMask.objects.exists()


def test_without_originals_a_clip_is_only_made_narrower(
    cast: Cast, clip: Clip, made_again: Made
) -> None:
    original_goes(clip.recording)
    first, last = clip.first_frame, clip.first_frame + clip.frame_count - 1
    for wrong in (
        lambda: board.set_ends(clip=clip, first_frame=first - 1, last_frame=last, by=cast.checker),
        lambda: board.nudge(clip=clip, frames=1, by=cast.checker),
    ):
        with pytest.raises(CheckRefused, match="only be made narrower"):
            wrong()
    ends = {"first_frame": first + 5, "last_frame": last - 10}
    again = made_again(lambda: board.set_ends(clip=clip, by=cast.checker, **ends))
    assert (again.state, again.reason) == ("ready", "")
    video = again.files.filter(kind="video").order_by("-height").first()
    assert numbers_in(video.stored.local_path()) == list(range(first + 5, last - 9))
    with pytest.raises(CheckRefused, match="originals are deleted"):
        board.undo(act=board.last_act(cast.clinic, cast.checker), by=cast.checker)


def test_after_the_clinic_it_is_opened_again_to_cover_somebody(
    cast: Cast, clip: Clip, made_again: Made
) -> None:
    pass_swims(swims=[clip.swim], by=cast.checker)
    closed = close_clinic(clinic=cast.clinic, by=cast.admin)
    original_goes(clip.recording)
    with pytest.raises(CheckRefused, match="closed"):
        whole(clip, cast.checker)
    open_again(clinic=cast.clinic, by=cast.admin)
    again = made_again(lambda: whole(clip, cast.checker))
    assert seen_anywhere(again) == set()
    assert plan_cuts(clinic=cast.clinic).moved == 0
    passed, _refused = pass_swims(swims=[again.swim], by=cast.checker)
    assert passed and Clip.objects.all().visible_to(cast.coach).exists()
    assert close_clinic(clinic=cast.clinic, by=cast.admin).closed_at == closed.closed_at


# --- what must not go wrong ----------------------------------------------------------------------


def test_covered_while_it_is_made_the_uncovered_is_not_published(cast: Cast, clip: Clip) -> None:
    Clip.objects.filter(pk=clip.pk).update(state="waiting")
    clip.refresh_from_db()

    def cover(_progress: float, *_: object) -> None:
        if not StationMask.objects.exists():
            cover_station(station=cast.start_side, area=AREA, by=cast.admin)

    render(clip, cover)  # it began before the area was covered
    clip.refresh_from_db()
    assert clip.state != "ready" and not clip.files.exists()


def test_what_is_held_is_hidden_and_not_changed(cast: Cast, clip: Clip, made_again: Made) -> None:
    files = set(clip.files.values_list("pk", flat=True))
    Hold.objects.create(
        subject_kind="clinics.Clip",
        subject_id=clip.pk,
        reason="asked for",
        owner=cast.admin,
        review_on=timezone.now().date(),
    )
    again = made_again(lambda: cover_station(station=cast.start_side, area=AREA, by=cast.admin))
    assert set(again.files.values_list("pk", flat=True)) == files
    assert all(row.stored.local_path().exists() for row in again.files.all())
    Hold.objects.update(ended_at=timezone.now())
    assert not ClipFile.objects.all().handled_by(cast.checker).exists()


def test_a_swim_that_comes_back_brings_its_masks(cast: Cast, clip: Clip, made_again: Made) -> None:
    whole(clip, cast.checker)
    act = board.was_no_swim(swim=clip.swim, by=cast.checker)
    assert not ClipMask.objects.exists()
    again = made_again(lambda: board.undo(act=act, by=cast.checker))
    assert ClipMask.objects.get().clip_id == clip.pk
    assert seen_anywhere(again) == set()


@pytest.mark.parametrize("who", ["coach", "crew", "tomas", "other_admin"])
def test_nobody_else_covers(cast: Cast, who: str) -> None:
    by = getattr(cast, who)
    with pytest.raises(PermissionDenied):
        cover_station(station=cast.start_side, area=AREA, by=by)
    clip = cast.clips["tomas"][0]
    with pytest.raises(PermissionDenied):
        cover_clip(clip=clip, first_frame=clip.first_frame, last_frame=500, area=AREA, by=by)


def test_an_admin_covers_no_single_clip(cast: Cast) -> None:
    clip, frame = cast.clips["tomas"][0], cast.clips["tomas"][0].first_frame
    with pytest.raises(PermissionDenied):
        cover_clip(clip=clip, first_frame=frame, last_frame=frame, area=AREA, by=cast.admin)


@pytest.mark.parametrize(
    ("area", "words"),
    [(Area(0.9, 0.1, 0.2, 0.1), "within the picture"), (Area(0.1, 0.1, 0.0, 0.5), "too small")],
)
def test_an_area_must_lie_in_the_picture(cast: Cast, area: Area, words: str) -> None:
    with pytest.raises(CheckRefused, match=words):
        cover_station(station=cast.start_side, area=area, by=cast.admin)
    assert not StationMask.objects.exists()


def test_frames_must_be_the_clips(cast: Cast) -> None:
    clip = cast.clips["tomas"][0]
    end = clip.first_frame + clip.frame_count
    with pytest.raises(CheckRefused, match="This clip shows frames"):
        cover_clip(
            clip=clip, first_frame=clip.first_frame, last_frame=end, area=AREA, by=cast.checker
        )
