"""Asking for stills and films to take along, and the job that makes them."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from django.test import Client

from clinics.models import ClipFile
from feedback.actions import make_take_along
from feedback.actions import take_along as acts
from feedback.actions.frames import FrameUnknown
from feedback.compute.take_along import Kind, Spec
from feedback.models import TakeAlong
from portal.actions.job_worker import drain
from portal.actions.jobs import cancel, retry
from portal.models import Job, StoredFile
from tests.cast import sign_in
from tests.feedback.filmed_swim import Filmed, url


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
