"""The jobs after a recording came in: reading it leads to aligning at once, looking through
comes when the first clips are made, and may run twice or be killed."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.conf import settings
from django.test import Client

from clinics.actions import index, look_through
from clinics.actions.align import run_align
from clinics.actions.bring_in import take_in_files
from clinics.actions.keeping import date_originals, originals_delete_by
from clinics.compute.keeping import add_months, begin_of
from clinics.models import Clinic, ClockFit, Consent, Recording
from portal.actions.job_runs import JobStopped
from portal.actions.job_worker import drain
from portal.models import Job, StoredFile
from tests.cast import Cast, sign_in
from tests.media.film import make_film

X264 = ("-c:v", "libx264", "-preset", "ultrafast", "-g", "6")


@pytest.fixture(scope="module")
def film(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("films") / "CLIP0007.MP4"
    return make_film(path, count=60, fps=25, video=X264, sound=("-c:a", "aac"))


@pytest.fixture(autouse=True)
def no_left_overs() -> Iterator[None]:
    yield
    assert [path.name for path in Path(settings.WORK_DIR).glob("*")] == []


@pytest.fixture
def indexed(cast: Cast, film: Path) -> Recording:
    """Read, and not yet looked through."""
    [recording] = take_in_files(
        station=cast.start_side,
        paths_with_names=[(film, film.name)],
        camera_name="Left",
        by=cast.crew,
    )
    index.index(recording, lambda *_: None)
    Job.objects.filter(kind="index-recording").delete()
    return recording


def looked(recording: Recording) -> None:
    fresh = Recording.objects.select_related("station__clinic__club", "frame_table", "motion")
    look_through.look_through_recording(fresh.get(pk=recording.pk), lambda *_: None)
    recording.refresh_from_db()


@pytest.mark.django_db
def test_reading_asks_to_align_before_any_picture_is_looked_at(indexed: Recording) -> None:
    assert indexed.state == "ready" and indexed.sound_track is not None
    assert indexed.contact_strip is None and indexed.motion is None
    kinds = set(Job.objects.values_list("kind", flat=True))
    assert kinds == {"align", "look-through"}


@pytest.mark.django_db
def test_looking_through_comes_last_and_sooner_where_the_clock_is_not_sure(
    indexed: Recording,
) -> None:
    from clinics.actions.clip_files import FIRST_PRIORITY

    def priority() -> int:
        return Job.objects.get(kind="look-through", subject_id=indexed.pk).priority

    assert priority() > FIRST_PRIORITY + 1000, "after the clips of any clinic"
    run_align(Job.objects.get(kind="align"), lambda *_: None)
    assert indexed.clock_fit.state != "sure"
    assert FIRST_PRIORITY < priority() < FIRST_PRIORITY + 10, "after the first swims' clips"
    index.order_looks(sure=[indexed], unsure=[], by=None)
    assert priority() > FIRST_PRIORITY + 1000, "last again, once its clock is sure"
    assert index.INDEX_PRIORITY < FIRST_PRIORITY


@pytest.mark.django_db
def test_looking_through_keeps_strip_and_motion(indexed: Recording) -> None:
    looked(indexed)
    assert indexed.contact_strip is not None and indexed.contact_layout["frames"][0] == 0
    profile = index.motion_of(indexed)
    assert profile is not None
    assert profile.frames.tolist() == list(range(0, 60, 6))
    assert profile.ticks.tolist() == index.frames_of(indexed)[profile.frames].tolist()
    before = Recording.objects.values().get(pk=indexed.pk)
    looked(indexed)  # twice changes nothing
    assert Recording.objects.values().get(pk=indexed.pk) == before


@pytest.mark.django_db
def test_killed_in_the_middle_it_leaves_nothing_and_is_done_again(indexed: Recording) -> None:
    def killed(_progress: float) -> None:
        raise JobStopped("stopping")

    files = StoredFile.objects.count()
    with pytest.raises(JobStopped):
        look_through.look_through_recording(
            Recording.objects.select_related("station__clinic__club", "frame_table").get(
                pk=indexed.pk
            ),
            killed,
        )
    indexed.refresh_from_db()
    assert (indexed.state, indexed.motion, StoredFile.objects.count()) == ("ready", None, files)
    looked(indexed)
    assert indexed.motion is not None


@pytest.mark.django_db
def test_read_anew_meanwhile_it_does_not_count(
    indexed: Recording, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = look_through.look_through

    def meanwhile(*args: object, **more: object) -> object:
        Recording.objects.filter(pk=indexed.pk).update(state="waiting")
        index.index(Recording.objects.get(pk=indexed.pk), lambda *_: None)
        return real(*args, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(look_through, "look_through", meanwhile)
    looked(indexed)
    assert indexed.state == "ready"
    assert indexed.motion is None and indexed.contact_strip is None
    assert StoredFile.objects.filter(kind="sound-track", state="ready").count() == 1


@pytest.mark.django_db
def test_an_unplaced_recording_is_aligned_again_and_a_sure_one_only_planned(
    indexed: Recording, monkeypatch: pytest.MonkeyPatch
) -> None:
    planned: list[Clinic] = []
    monkeypatch.setattr(look_through, "plan_cuts", lambda *, clinic, by: planned.append(clinic))
    Job.objects.all().delete()
    looked(indexed)
    assert Job.objects.filter(kind="align").count() == 1 and planned == []
    Job.objects.all().delete()
    ClockFit.objects.create(
        recording=indexed, state="sure", zero_at=dt.datetime(2026, 9, 1, tzinfo=dt.UTC), u_ms=2.0
    )
    Recording.objects.filter(pk=indexed.pk).update(motion=None)
    looked(indexed)
    assert not Job.objects.filter(kind="align").exists()
    assert planned == [indexed.station.clinic]


@pytest.mark.django_db
def test_a_recording_whose_original_is_gone_stays_ready(indexed: Recording) -> None:
    indexed.files.get().stored.local_path().unlink()
    StoredFile.objects.filter(kind="original").update(state="deleted")
    drain(["render"])
    indexed.refresh_from_db()
    assert (indexed.state, indexed.motion) == ("ready", None)
    job = Job.objects.get(kind="look-through")
    assert job.state == "failed" and "CLIP0007.MP4" in job.reason


@pytest.mark.django_db
def test_the_sound_track_goes_with_the_originals(cast: Cast, indexed: Recording) -> None:
    track = indexed.sound_track
    assert track is not None
    assert (track.area, track.keeping_rule, track.name[-4:]) == ("originals", "originals", ".s16")
    open_still = begin_of(add_months(indexed.brought_in_at.date(), 18))  # nobody closed it
    assert originals_delete_by(track) == track.delete_by == open_still
    closed_at = dt.datetime(2026, 12, 1, 9, 0, tzinfo=dt.UTC)
    Clinic.objects.filter(pk=cast.clinic.pk).update(state="closed", closed_at=closed_at)
    until = closed_at + dt.timedelta(days=30)
    assert originals_delete_by(track) == until
    cast.clinic.refresh_from_db()
    date_originals(clinic=cast.clinic)
    kept = StoredFile.objects.filter(pk__in=[track.pk, indexed.files.get().stored_id])
    assert set(kept.values_list("delete_by", flat=True)) == {until}
    # Read again after closing: the new track has the date from its first instant.
    Recording.objects.filter(pk=indexed.pk).update(state="waiting")
    index.index(Recording.objects.get(pk=indexed.pk), lambda *_: None)
    indexed.refresh_from_db()
    assert indexed.sound_track is not None and indexed.sound_track != track
    assert indexed.sound_track.delete_by == until


@pytest.mark.django_db
def test_the_page_says_that_the_strip_follows(cast: Cast, indexed: Recording) -> None:
    Consent.objects.update(ended_at=None)  # who withdrew hides pictures without a clock
    client = sign_in(Client(), cast.crew)
    page = client.get(f"/recordings/{indexed.pk}/").content.decode()
    assert "The recording at a glance follows" in page
    looked(indexed)
    page = client.get(f"/recordings/{indexed.pk}/").content.decode()
    assert "The recording at a glance follows" not in page and "usemap" in page
