"""How far a clinic's clips are, with the time left at the speed that was measured."""

from __future__ import annotations

import datetime as dt

import pytest
from django.test import Client
from django.utils import timezone

from clinics.actions.clip_files import open_swim
from clinics.actions.cut import plan_cuts
from clinics.actions.progress import progress_of, stop_making
from clinics.models import Clinic, Clip, ClipFile, Recording
from portal.actions.jobs import enqueue
from portal.models import Job
from tests.cast import Cast, sign_in


@pytest.fixture
def clinic(cast: Cast) -> Clinic:
    """Six clips to make: three each of Tomas and Wren."""
    ClipFile.objects.all().delete()
    Clip.objects.all().delete()
    plan_cuts(clinic=cast.clinic)
    return cast.clinic


def make_one(seconds_each: float) -> Clip:
    """The next render is done, at so many seconds for each second of the clip."""
    job = Job.objects.filter(kind="render-clip", state="waiting").order_by("priority").first()
    clip = Clip.objects.get(pk=job.subject_id)
    now = timezone.now()
    took = dt.timedelta(seconds=seconds_each * (clip.out_ticks - clip.in_ticks) / 90_000)
    Job.objects.filter(pk=job.pk).update(
        state="done", started_at=now - took, finished_at=now, progress=1
    )
    Clip.objects.filter(pk=clip.pk).update(state="ready", rendered_at=now)
    return clip


def waiting_s() -> float:
    left = Clip.objects.exclude(state="ready")
    return sum((clip.out_ticks - clip.in_ticks) / 90_000 for clip in left)


def test_time_left_is_unknown_before_anything_was_measured(clinic: Clinic) -> None:
    found = progress_of(clinic)
    assert (found.clips_done, found.clips_total, found.making) == (0, 6, 6)
    assert found.seconds_left is None
    assert found.busy and not found.stopped and not found.more_to_come
    assert found.minutes_total == pytest.approx(waiting_s() / 60, abs=0.01)


def test_time_left_is_what_is_left_at_the_speed_measured(clinic: Clinic) -> None:
    first = make_one(2.0)
    make_one(2.0)
    found = progress_of(clinic)
    assert found.seconds_left == pytest.approx(2.0 * waiting_s(), rel=1e-3)
    assert (found.clips_done, found.making) == (2, 4)
    assert found.minutes_cut > 0
    first.refresh_from_db()
    assert found.first_ready_at == first.rendered_at


def test_running_job_tells_its_own_speed_and_workers_share(clinic: Clinic) -> None:
    make_one(2.0)
    now = timezone.now()
    jobs = Job.objects.filter(kind="render-clip", state="waiting").order_by("priority")
    for number, job in enumerate(jobs[:2]):
        Job.objects.filter(pk=job.pk).update(
            state="running",
            owner=f"worker {number}",
            lease_until=now + dt.timedelta(minutes=5),
            started_at=now - dt.timedelta(seconds=30),
            progress=0.75,
        )
    rest = Job.objects.filter(kind="render-clip", state="waiting").values("subject_id")
    rest_s = sum((c.out_ticks - c.in_ticks) / 90_000 for c in Clip.objects.filter(pk__in=rest))
    found = progress_of(clinic)  # ten seconds each of the two, and the rest between them
    assert found.seconds_left == pytest.approx((10 + 10 + 2 * rest_s) / 2, rel=0.01)


def test_reading_counts_and_says_that_more_will_come(cast: Cast, clinic: Clinic) -> None:
    make_one(2.0)
    recording = cast.recordings["underwater"]
    enqueue(kind="index-recording", subject=recording, priority=20)
    found = progress_of(clinic)
    assert (found.reading, found.more_to_come) == (1, True)
    assert found.seconds_left is None  # nobody has measured yet how fast a recording is read
    size = sum(file.size_bytes for file in recording.files.all())
    now = timezone.now()
    other = Recording.objects.get(pk=cast.recordings["start-side"].pk)
    Job.objects.create(
        kind="index-recording",
        queue="render",
        subject_kind="clinics.Recording",
        subject_id=other.pk,
        state="done",
        started_at=now - dt.timedelta(seconds=8),
        finished_at=now,
    )
    same = sum(file.size_bytes for file in other.files.all())
    expected = 8 * size / same + 2.0 * waiting_s()
    assert progress_of(clinic).seconds_left == pytest.approx(expected, rel=1e-3)


def test_stopping_makes_no_more_and_cutting_goes_on(cast: Cast, clinic: Clinic) -> None:
    make_one(1.0)
    assert stop_making(clinic=clinic, by=cast.crew) == 5
    found = progress_of(clinic)
    assert (found.stopped, found.busy, found.making) == (True, False, 0)
    plan = plan_cuts(clinic=clinic)
    assert plan.waiting == 5
    assert progress_of(clinic).making == 5


def test_opened_swim_jumps_the_queue_whole(cast: Cast, clinic: Clinic) -> None:
    assert open_swim(swim=cast.swims["wren"]) == 3
    jobs = Job.objects.filter(kind="render-clip").order_by("priority", "created_at")
    first = [Clip.objects.get(pk=job.subject_id).swim for job in jobs[:3]]
    assert first == [cast.swims["wren"]] * 3
    assert jobs.count() == 6
    Clip.objects.update(state="ready")
    assert open_swim(swim=cast.swims["wren"]) == 0


def test_most_useful_view_of_the_first_swimmer_comes_first(cast: Cast, clinic: Clinic) -> None:
    jobs = Job.objects.filter(kind="render-clip").order_by("priority", "created_at")
    order = [Clip.objects.get(pk=job.subject_id) for job in jobs]
    assert [(clip.swim, clip.station.slug, clip.pass_no) for clip in order] == [
        (cast.swims[name], station, pass_no)
        for name in ("tomas", "wren")
        for station, pass_no in (("start-side", 1), ("underwater", 1), ("underwater", 2))
    ]


def test_page_shows_it_and_crew_can_stop(cast: Cast, clinic: Clinic, client: Client) -> None:
    make_one(2.0)
    sign_in(client, cast.crew)
    page = client.get(f"/clinics/{clinic.pk}/").content.decode()
    assert "1 of 6 clips are made." in page and 'data-busy="yes"' in page
    piece = client.get(f"/clinics/{clinic.pk}/progress/").content.decode()
    assert "All of it: about" in piece and "Make no more for now" in piece
    client.post(f"/clinics/{clinic.pk}/cut/stop/")
    piece = client.get(f"/clinics/{clinic.pk}/progress/").content.decode()
    assert "Stopped. Cut again to make the rest." in piece and 'data-busy="no"' in piece
