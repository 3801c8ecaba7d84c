"""Jobs: asking, claiming, holding, stopping, failing."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from django.db import transaction
from django.utils import timezone

from portal.actions import job_runs, job_worker, jobs
from portal.actions.files import publish, work_dir
from portal.actions.job_runs import JobFailed, JobStopped, Pulse, published_with_job
from portal.actions.job_worker import drain
from portal.actions.jobs import cancel, enqueue, retry
from portal.models import AuditEntry, Club, Job, StoredFile, User
from portal.registry import JobKind, KeepingRule, job_kinds, keeping_rules

RULE = keeping_rules.register(KeepingRule("test-jobs", "Test", lambda file: None))
Register = Callable[..., JobKind]


@pytest.fixture
def register() -> Iterator[Register]:
    """Registers a job kind for this test alone."""
    names: list[str] = []

    def make(run: Callable[[Job, Pulse], None], name: str = "test", **more: Any) -> JobKind:
        names.append(name)
        told = {"queue": "quick", "label": "Test", "visible_to": lambda j, u: j, "retry_s": 0.0}
        return job_kinds.register(JobKind(name=name, run=run, **{**told, **more}))

    yield make
    for name in names:
        job_kinds._items.pop(name)


@pytest.fixture
def club(db: None) -> Club:
    return Club.objects.create(slug="harbour-lane-masters", name="Harbour Lane Masters")


def nothing(job: Job, pulse: Pulse) -> None:
    """A run that has nothing to do."""


def publish_text(club: Club, text: str) -> StoredFile:
    with work_dir("test") as folder:
        temporary = folder / "part"
        temporary.write_text(text)
        return publish(
            temporary=temporary,
            area="media",
            kind="test",
            club=club,
            keeping_rule=RULE.name,
            content_type="text/plain",
            suffix=".txt",
        )


def test_enqueue_returns_the_open_job_and_takes_the_higher_priority(
    register: Register, club: Club
) -> None:
    register(nothing)
    first = enqueue(kind="test", subject=club, params={"n": 1}, priority=50)
    second = enqueue(kind="test", subject=club, params={"n": 2}, priority=10)
    third = enqueue(kind="test", subject=club, priority=90)
    assert first.pk == second.pk == third.pk
    assert (third.priority, third.params) == (10, {"n": 2})
    assert enqueue(kind="test").pk != enqueue(kind="test").pk  # about nothing: each its own
    assert drain() == 3
    assert enqueue(kind="test", subject=club).pk != first.pk  # ended: a new one


def test_enqueue_of_an_unknown_kind_is_an_error(db: None) -> None:
    with pytest.raises(LookupError, match="no job kind is called “nonsense”"):
        enqueue(kind="nonsense")


def test_job_asked_for_while_it_runs_runs_once_more(register: Register, club: Club) -> None:
    """It may have read what has changed since; a change must not go unseen."""
    seen: list[int] = []

    def run(job: Job, pulse: Pulse) -> None:
        seen.append(job.params["n"])
        if len(seen) == 1:
            assert enqueue(kind="test", subject=club, params={"n": 2}).pk == job.pk

    register(run)
    job = enqueue(kind="test", subject=club, params={"n": 1})
    assert drain() == 2
    job.refresh_from_db()
    assert (seen, job.state, job.attempt, job.asked_again) == ([1, 2], "done", 1, False)


def test_drain_works_by_priority_then_age(register: Register, db: None) -> None:
    order: list[str] = []
    register(lambda job, pulse: order.append(job.params["name"]))
    for name, priority in (("late", 100), ("later", 100), ("first", 1)):
        enqueue(kind="test", params={"name": name}, priority=priority)
    drain()
    assert order == ["first", "late", "later"]


def test_job_waits_until_its_time(register: Register, db: None) -> None:
    register(nothing)
    job = enqueue(kind="test", not_before=timezone.now() + dt.timedelta(hours=1))
    assert drain() == 0
    job.refresh_from_db()
    assert job.state == "waiting"


def test_permanent_failure_is_not_tried_again_and_tells_the_kind(
    register: Register, db: None
) -> None:
    told: list[str] = []

    def run(job: Job, pulse: Pulse) -> None:
        raise JobFailed("00012.MTS has no video in it. Look at the card again.")

    register(run, on_failed=lambda job: told.append(job.reason))
    job = enqueue(kind="test")
    assert drain() == 1
    job.refresh_from_db()
    assert (job.state, job.attempt) == ("failed", 1)
    assert told == [job.reason] == ["00012.MTS has no video in it. Look at the card again."]


def test_other_errors_are_tried_three_times(register: Register, db: None) -> None:
    def run(job: Job, pulse: Pulse) -> None:
        raise OSError("disk is away")

    def broken(job: Job) -> None:
        raise RuntimeError("the kind's own mistake must not undo the failing")

    register(run, on_failed=broken)
    job = enqueue(kind="test")
    assert drain() == 3
    job.refresh_from_db()
    assert (job.state, job.attempt) == ("failed", 3)
    assert job.reason == "Tried 3 times. OSError: disk is away"


def test_retry_counts_attempts_anew(register: Register, club: Club) -> None:
    fail = [True]

    def run(job: Job, pulse: Pulse) -> None:
        if fail[0]:
            raise JobFailed("no")

    register(run)
    job = enqueue(kind="test", subject=club)
    drain()
    fail[0] = False
    again = retry(job=job, by=None)
    assert (again.state, again.attempt, again.reason) == ("waiting", 0, "")
    drain()
    job.refresh_from_db()
    assert (job.state, job.attempt) == ("done", 1)
    assert AuditEntry.objects.filter(action="job.retry", subject_id=str(job.pk)).count() == 1
    assert retry(job=job, by=None).state == "done"  # nothing to retry


def test_retry_of_what_is_open_again_returns_the_open_one(register: Register, club: Club) -> None:
    register(nothing)
    old = cancel(job=enqueue(kind="test", subject=club), by=None)
    new = enqueue(kind="test", subject=club)
    assert retry(job=old, by=None).pk == new.pk


def test_cancel_of_a_waiting_job_ends_it_at_once(register: Register, db: None) -> None:
    register(nothing)
    job = cancel(job=enqueue(kind="test"), by=None)
    assert (job.state, job.finished_at is not None) == ("cancelled", True)
    assert drain() == 0
    assert AuditEntry.objects.filter(action="job.cancel").count() == 1


def test_cancel_of_a_running_job_stops_it_at_the_next_pulse(
    register: Register, club: Club, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(job_runs, "PULSE_EVERY_S", 0.0)
    reached: list[str] = []

    def run(job: Job, pulse: Pulse) -> None:
        pulse(0.25)
        assert pulse.should_stop() is False
        cancel(job=job, by=None)
        assert pulse.should_stop() is True
        with pytest.raises(JobStopped):
            publish_text(club, "too late")
        reached.append("publish refused")
        pulse(0.5)
        reached.append("went on")

    register(run)
    job = enqueue(kind="test")
    drain()
    job.refresh_from_db()
    assert (job.state, reached) == ("cancelled", ["publish refused"])
    assert not StoredFile.objects.exists()


def test_pulse_reports_progress_and_seconds_left(
    register: Register, db: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(job_runs, "PULSE_EVERY_S", 0.0)
    seen: list[tuple[float, float | None]] = []

    def run(job: Job, pulse: Pulse) -> None:
        for progress, seconds_left in ((0.25, 12.0), (7.0, 0.0), (-1.0, None)):
            pulse(progress, seconds_left)
            row = Job.objects.get(pk=job.pk)
            seen.append((row.progress, row.seconds_left))

    register(run)
    job = enqueue(kind="test")
    drain()
    job.refresh_from_db()
    assert seen == [(0.25, 12.0), (1.0, 0.0), (0.0, None)]
    assert (job.progress, job.seconds_left) == (1.0, None)


def test_stale_worker_that_finishes_late_publishes_nothing(
    register: Register, club: Club, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its lease ran out and another has the job: pulse, publish and the end all refuse."""
    monkeypatch.setattr(job_runs, "PULSE_EVERY_S", 0.0)
    refused: list[str] = []

    def run(job: Job, pulse: Pulse) -> None:
        if job.attempt == 2:
            return
        Job.objects.filter(pk=job.pk).update(lease_until=timezone.now() - dt.timedelta(seconds=1))
        assert job_worker.expire_leases() == 1
        other = job_worker.claim("quick", "another worker")
        assert other is not None and other.attempt == 2
        with pytest.raises(JobStopped):
            publish_text(club, "stale")
        refused.append("publish")
        with pytest.raises(JobStopped):
            pulse(0.9)
        refused.append("pulse")

    register(run)
    job = enqueue(kind="test")
    drain()
    job.refresh_from_db()
    assert refused == ["publish", "pulse"]
    assert (job.state, job.owner, job.attempt) == ("running", "another worker", 2)
    assert not StoredFile.objects.exists()
    job_worker.run_claimed(job, stopping=lambda: False, beat=False, worker=False)
    job.refresh_from_db()
    assert job.state == "done"


def test_stale_worker_that_never_pulses_cannot_settle_the_row(
    register: Register, club: Club
) -> None:
    def run(job: Job, pulse: Pulse) -> None:
        Job.objects.filter(pk=job.pk).update(owner="another worker", attempt=2)

    register(run)
    job = enqueue(kind="test", subject=club)
    drain()
    job.refresh_from_db()
    assert (job.state, job.owner) == ("running", "another worker")


def test_lost_lease_goes_back_and_after_three_attempts_fails(register: Register, db: None) -> None:
    """What a file does that kills its workers: counted when claimed, so it ends."""
    told: list[str] = []
    register(nothing, on_failed=lambda job: told.append(job.state))
    job = enqueue(kind="test")
    for attempt in (1, 2, 3):
        assert job_worker.claim("quick", f"worker {attempt}") is not None
        assert job_worker.expire_leases() == 0  # the lease still runs
        Job.objects.update(lease_until=timezone.now() - dt.timedelta(seconds=1))
        assert job_worker.expire_leases() == 1
        job.refresh_from_db()
        assert job.state == ("waiting" if attempt < 3 else "failed")
    assert "died or hung 3 times" in job.reason
    assert told == ["failed"]
    assert retry(job=job, by=None).state == "waiting"


def test_job_past_its_time_fails_and_says_so(register: Register, db: None) -> None:
    def run(job: Job, pulse: Pulse) -> None:
        pulse(0.1)

    register(run, wall_s=0.0)
    job = enqueue(kind="test")
    drain()
    job.refresh_from_db()
    assert (job.state, job.attempt) == ("failed", 1)
    assert job.reason.startswith("It took longer than 0 minutes")


def test_worker_that_stops_gives_the_job_back_uncounted(register: Register, db: None) -> None:
    register(lambda job, pulse: pulse(0.1))
    job = enqueue(kind="test")
    claimed = job_worker.claim("quick", job_worker.new_owner())
    assert claimed is not None
    job_worker.run_claimed(claimed, stopping=lambda: True, beat=False, worker=True)
    job.refresh_from_db()
    assert (job.state, job.attempt, job.owner) == ("waiting", 0, "")


def test_job_of_a_kind_that_is_gone_fails_with_its_name(register: Register, db: None) -> None:
    register(nothing)
    job = enqueue(kind="test")
    Job.objects.filter(pk=job.pk).update(kind="of-an-older-release")
    drain()
    job.refresh_from_db()
    assert (job.state, "of-an-older-release" in job.reason) == ("failed", True)


@pytest.mark.django_db(transaction=True)
def test_bell_rings_on_commit_only_and_once_per_transaction(
    register: Register, monkeypatch: pytest.MonkeyPatch
) -> None:
    rung: list[str] = []
    monkeypatch.setattr(jobs, "ring", rung.append)
    register(nothing)
    register(nothing, name="test-render", queue="render")
    with pytest.raises(RuntimeError), transaction.atomic():
        enqueue(kind="test")
        raise RuntimeError
    assert (rung, Job.objects.count()) == ([], 0)
    with transaction.atomic():
        for _ in range(5):
            enqueue(kind="test")
            with transaction.atomic():
                enqueue(kind="test-render")
        assert rung == []
    assert sorted(rung) == ["quick", "render"]
    Job.objects.all().delete()


@pytest.mark.django_db(transaction=True)
def test_jobs_files_stay_when_the_job_is_done_and_go_when_it_breaks(register: Register) -> None:
    club = Club.objects.create(slug="quillmoor-tritons", name="Quillmoor Tritons")
    paths: list[Path] = []

    def run(job: Job, pulse: Pulse) -> None:
        with published_with_job():
            paths.append(publish_text(club, f"attempt {job.attempt}").local_path())
            if job.attempt == 1:
                raise OSError("after publishing")

    register(run)
    enqueue(kind="test")
    assert drain() == 2
    assert [path.exists() for path in paths] == [False, True]
    assert [stored.local_path() for stored in StoredFile.objects.all()] == [paths[1]]


def test_may_change_is_for_who_asked_unless_the_kind_says(register: Register, db: None) -> None:
    asked, other = (User.objects.create_user(f"{n}@harbourlane.example") for n in ("ana", "bo"))
    register(nothing)
    register(nothing, name="test-hook", may_change=lambda job, user: user == other)
    register(nothing, name="test-unseen", visible_to=lambda jobs, user: jobs.none())
    own = enqueue(kind="test", asked_by=asked)
    hooked = enqueue(kind="test-hook", asked_by=asked)
    unseen = enqueue(kind="test-unseen", asked_by=asked)
    assert (jobs.may_change(own, asked), jobs.may_change(own, other)) == (True, False)
    assert (jobs.may_change(hooked, asked), jobs.may_change(hooked, other)) == (False, True)
    assert jobs.may_change(unseen, asked) is False
