"""Asking for background work, and doing it (trust 35 to 40).

The row is the truth. A Celery message is only a doorbell that says "look at this queue":
whoever hears it works off rows by priority until none is left, so one ring may serve many
rows, and a lost or doubled ring harms nothing. A worker claims a row with one conditional
UPDATE, renews its lease while it works, and may settle the row only while the row still
names it and its attempt.
"""

from __future__ import annotations

import contextlib
import logging
import os
import signal
import socket
import threading
import time
import uuid
from collections.abc import Callable, Iterator, Sequence
from contextvars import ContextVar
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

from django.conf import settings
from django.db import DatabaseError, IntegrityError, connection, connections, models, transaction
from django.db.models import Case, F, Q, Value, When
from django.utils import timezone

from portal.actions import audit, maintenance
from portal.models import Job
from portal.registry import JobKind, job_kinds

if TYPE_CHECKING:
    from portal.models import User

log = logging.getLogger("portal.jobs")

QUEUES = ("quick", "render")
OPEN = (Job.State.WAITING, Job.State.RUNNING)
PULSE_EVERY_S = 0.5  # at most so often does a pulse write or a question read the row
DRAIN_WAITS_S = 15.0  # `drain` waits for a retry that is due within this time
BELLS_ENOUGH = 20  # unheard messages in the broker's folder; more would say nothing new


class JobStopped(Exception):
    """The job was cancelled, lost to another worker, too long, or the worker is stopping."""

    def __init__(self, why: str) -> None:
        super().__init__(why)
        self.why = why


class JobFailed(Exception):
    """The job cannot succeed; the sentence tells a person why and what to do next."""


CANCELLED, LOST, TOO_LONG, STOPPING = "cancelled", "lost", "too long", "stopping"


# --- asking -------------------------------------------------------------------------------


def enqueue(
    *,
    kind: str,
    subject: models.Model | None = None,
    asked_by: User | None = None,
    params: dict[str, Any] | None = None,
    priority: int = 100,
    not_before: datetime | None = None,
) -> Job:
    """The open job of this kind on this subject, made if there is none.

    A job that waits takes the smaller priority number and the newer params. One that runs
    already may have read what has changed since; it is marked to run once more when it
    ends. So a `run` returns at once when there is nothing to do.
    """
    known = job_kinds.get(kind)
    about = {
        "kind": kind,
        "subject_kind": subject._meta.label if subject is not None else "",
        "subject_id": subject.pk if subject is not None else None,
    }
    while True:
        job = _open_job(about, params, priority, not_before) if subject is not None else None
        if job is None:
            job = _make(known, about, asked_by, params or {}, priority, not_before)
        if job is not None:
            ring_on_commit(known.queue)
            return job


def _open_job(
    about: dict[str, Any], params: dict[str, Any] | None, priority: int, due: datetime | None
) -> Job | None:
    job = Job.objects.filter(**about, state__in=OPEN).first()
    if job is None:
        return None
    fresh: dict[str, Any] = {} if params is None else {"params": params}
    if job.state == Job.State.RUNNING:
        fresh |= {"asked_again": True}
    else:
        sooner = job.not_before is not None and (due is None or due < job.not_before)
        fresh |= {"not_before": due} if sooner else {}
        fresh |= {"priority": min(priority, job.priority)}
    if Job.objects.filter(pk=job.pk, state=job.state).update(**fresh) == 0:
        return None  # it went on meanwhile; the caller looks again
    job.refresh_from_db()
    return job


def _make(
    kind: JobKind,
    about: dict[str, Any],
    asked_by: User | None,
    params: dict[str, Any],
    priority: int,
    not_before: datetime | None,
) -> Job | None:
    try:
        with transaction.atomic():
            return Job.objects.create(
                **about,
                queue=kind.queue,
                asked_by=asked_by,
                params=params,
                priority=priority,
                not_before=not_before,
            )
    except IntegrityError:
        return None  # somebody asked for the same at this moment; the caller looks again


@transaction.atomic
def cancel(*, job: Job, by: User | None) -> Job:
    """Cancel at once if it waits; else ask the worker, whose next pulse stops the work."""
    waiting = Job.objects.filter(pk=job.pk, state=Job.State.WAITING)
    ended = {"state": Job.State.CANCELLED, "finished_at": timezone.now()}
    if waiting.update(**ended, cancel_asked=True, asked_again=False) == 0:
        Job.objects.filter(pk=job.pk, state=Job.State.RUNNING).update(
            cancel_asked=True, asked_again=False
        )
    audit.record(action="job.cancel", by=by, subject=job, detail={"kind": job.kind})
    job.refresh_from_db()
    return job


@transaction.atomic
def retry(*, job: Job, by: User | None) -> Job:
    """Put a failed or cancelled job back with its attempts counted anew."""
    ended = Job.objects.filter(pk=job.pk, state__in=[Job.State.FAILED, Job.State.CANCELLED])
    try:
        with transaction.atomic():
            count = ended.update(
                state=Job.State.WAITING,
                attempt=0,
                progress=0.0,
                reason="",
                cancel_asked=False,
                not_before=None,
                finished_at=None,
            )
    except IntegrityError:  # the same was asked for since, and is open
        return Job.objects.get(
            kind=job.kind,
            subject_kind=job.subject_kind,
            subject_id=job.subject_id,
            state__in=OPEN,
        )
    if count:
        audit.record(action="job.retry", by=by, subject=job, detail={"kind": job.kind})
        ring_on_commit(job.queue)
    job.refresh_from_db()
    return job


def may_change(job: Job, user: User) -> bool:
    """May this person cancel or retry it? The kind decides; else only who asked for it."""
    try:
        decide = job_kinds.get(job.kind).may_change
    except LookupError:
        return False
    if not Job.objects.visible_to(user).filter(pk=job.pk).exists():
        return False
    return decide(job, user) if decide is not None else job.asked_by_id == user.pk


# --- the doorbell -------------------------------------------------------------------------


@dataclass(frozen=True)
class _Bell:
    queue: str

    def __call__(self) -> None:
        ring(self.queue)


def ring_on_commit(queue: str) -> None:
    """Ring when the transaction commits, once however many jobs it asks for (trust 38)."""
    bell = _Bell(queue)
    if not any(call == bell for _, call, *_ in connection.run_on_commit):
        transaction.on_commit(bell, robust=True)


def ring(queue: str) -> bool:
    """Send one message. A broker that is down is logged only: the row waits, the sweep rings."""
    from portal.celery import app

    try:
        if not settings.REDIS_URL:
            folder = settings.BROKER_DIR
            folder.mkdir(parents=True, exist_ok=True, mode=0o700)
            if sum(1 for _ in folder.glob(f"*.{queue}.msg")) > BELLS_ENOUGH:
                return True
        app.send_task("portal.look", args=[queue], queue=queue, retry=False)
    except Exception as problem:  # whatever the broker's client raises, the row is safe
        log.warning("no ring for queue %s, the sweep will ring: %s", queue, problem)
        return False
    return True


# --- doing --------------------------------------------------------------------------------


class Pulse:
    """How a job's `run` reports, and learns that it must stop.

    `pulse(0.4, 12.0)` reports; it raises `JobStopped` when the job was cancelled, lost, ran
    too long, or the worker is stopping. `pulse.should_stop()` asks the same without raising,
    for a loop that has a child process to end first.
    """

    def __init__(self, job: Job, kind: JobKind, stopping: Callable[[], bool]) -> None:
        self.job = job
        self._kind = kind
        self._stopping = stopping
        self._began = time.monotonic()
        self._asked_at = self._began
        self._wrote_at = 0.0
        self._renewed_at = self._began
        self.why = ""  # why to stop, once known

    def __call__(self, progress: float, seconds_left: float | None = None) -> None:
        now = time.monotonic()
        if now - self._wrote_at >= PULSE_EVERY_S or progress >= 1:
            progress = min(max(float(progress), 0.0), 1.0)
            if seconds_left is None and progress > 0.02:
                seconds_left = (now - self._began) * (1 - progress) / progress
            self._wrote_at = now
            self.renew(progress=progress, seconds_left=seconds_left)
        if self.should_stop():
            raise JobStopped(self.why)

    def should_stop(self) -> bool:
        """True once the work must end; asks the database at most twice a second."""
        now = time.monotonic()
        if not self.why and now - self._asked_at >= PULSE_EVERY_S:
            self._asked_at = now
            self._look()
        self._judge(now)
        return bool(self.why)

    def _judge(self, now: float) -> None:
        if self.why:
            return
        if self._stopping():
            self.why = STOPPING
        elif now - self._began > self._kind.wall_s:
            self.why = TOO_LONG
        elif now - self._renewed_at > settings.JOB_LEASE_S:
            self.why = LOST  # the database could not be told in time: another may have it

    def _look(self) -> None:
        try:
            cancel_asked = held(self.job).values_list("cancel_asked", flat=True).first()
        except DatabaseError as problem:
            log.warning("job %s could not ask whether to go on: %s", self.job.pk, problem)
            return
        if cancel_asked is None:
            self.why = LOST
        elif cancel_asked:
            self.why = CANCELLED

    def renew(self, **fields: Any) -> None:
        """Extend the lease; learn at the same time whether the row is still this worker's."""
        now = timezone.now()
        began = time.monotonic()
        try:
            kept = held(self.job).update(
                lease_until=now + timedelta(seconds=settings.JOB_LEASE_S),
                heartbeat_at=now,
                **fields,
            )
        except DatabaseError as problem:
            log.warning("job %s could not renew its lease: %s", self.job.pk, problem)
            return
        if kept:
            self._renewed_at = began
        else:
            self.why = self.why or LOST

    @property
    def hung(self) -> bool:
        """Past the hard limit: the soft one was passed and nobody heeded it."""
        hard_s = self._kind.wall_s * 1.25 + settings.JOB_LEASE_S
        return time.monotonic() - self._began > hard_s


def held(job: Job) -> models.QuerySet[Job]:
    """The row, only while this worker's attempt still holds it."""
    return Job.objects.filter(
        pk=job.pk, owner=job.owner, attempt=job.attempt, state=Job.State.RUNNING
    )


_current: ContextVar[Pulse | None] = ContextVar("current_job", default=None)


def hold_current_job() -> None:
    """Inside a transaction of a job's `run`: go on only while the job is still ours.

    The UPDATE keeps the row locked until the transaction ends, so that nobody can claim
    it in between. Outside a job it does nothing.
    """
    pulse = _current.get()
    if pulse is None:
        return
    mine = held(pulse.job).filter(cancel_asked=False)
    if mine.update(heartbeat_at=timezone.now()) == 0:
        pulse._look()
        pulse.why = pulse.why or LOST
        raise JobStopped(pulse.why)


@contextlib.contextmanager
def published_with_job() -> Iterator[None]:
    """A transaction that holds the current job: what it writes is dropped if the job was lost."""
    with transaction.atomic():
        hold_current_job()
        yield


def new_owner() -> str:
    """A name that no other worker has, for the lease."""
    return f"{socket.gethostname()[:40]}:{os.getpid()}:{uuid.uuid4().hex[:8]}"


def due(queue: str) -> models.QuerySet[Job]:
    """Waiting jobs of a queue that may be done now, most useful first."""
    now = timezone.now()
    waiting = Job.objects.filter(queue=queue, state=Job.State.WAITING)
    in_time = waiting.filter(Q(not_before__isnull=True) | Q(not_before__lte=now))
    return in_time.order_by("priority", "created_at", "pk")


def claim(queue: str, owner: str) -> Job | None:
    """Take the next job. Of two who want the same row one UPDATE counts 1, the other 0."""
    if maintenance.is_on():
        return None
    while True:
        pk = due(queue).values_list("pk", flat=True).first()
        if pk is None:
            return None
        now = timezone.now()
        taken = Job.objects.filter(pk=pk, state=Job.State.WAITING).update(
            state=Job.State.RUNNING,
            owner=owner,
            attempt=F("attempt") + 1,  # counted now, so that a file that kills us is counted too
            lease_until=now + timedelta(seconds=settings.JOB_LEASE_S),
            heartbeat_at=now,
            started_at=now,
            progress=0.0,
            seconds_left=None,
        )
        if taken:
            return Job.objects.get(pk=pk)


def run_claimed(job: Job, *, stopping: Callable[[], bool], beat: bool, worker: bool) -> None:
    """Run one claimed job and settle its row; never raises for what the job did wrong."""
    try:
        kind = job_kinds.get(job.kind)
    except LookupError:
        _fail(job, f"This version of Sidelane knows no job of kind “{job.kind}”.")
        return
    pulse = Pulse(job, kind, stopping)
    token = _current.set(pulse)
    try:
        with _beating(pulse, kill_when_hung=worker) if beat else contextlib.nullcontext():
            kind.run(job, pulse)
        _done(job)
    except JobStopped as stop:
        _stopped(job, stop.why, kind)
    except JobFailed as failure:
        _fail(job, str(failure))
    except Exception as problem:
        if pulse.why:  # the child was ended because the job must stop
            _stopped(job, pulse.why, kind)
        else:
            log.exception("job %s (%s) attempt %d broke", job.pk, job.kind, job.attempt)
            _broke(job, kind, problem)
    finally:
        _current.reset(token)


@contextlib.contextmanager
def _beating(pulse: Pulse, *, kill_when_hung: bool) -> Iterator[None]:
    """Renew the lease from a thread of its own, with its own database connection."""
    ended = threading.Event()

    def beat() -> None:
        try:
            while not ended.wait(settings.JOB_HEARTBEAT_S):
                if pulse.hung:
                    log.error("job %s hangs past its hard limit", pulse.job.pk)
                    if kill_when_hung:
                        os.kill(os.getpid(), signal.SIGKILL)  # the lease runs out; the sweep sees
                    return
                if pulse.why == LOST:
                    return
                pulse.renew()
        finally:
            connections.close_all()

    thread = threading.Thread(target=beat, name="job-heartbeat", daemon=True)
    thread.start()
    try:
        yield
    finally:
        ended.set()
        thread.join()


def _settle(job: Job, state: str, **fields: Any) -> bool:
    """End the job's run, guarded by owner and attempt; False: it was another's already.

    If it was asked for again while it ran it waits anew instead of ending.
    """
    now = timezone.now()
    again = Q(asked_again=True)
    with transaction.atomic():
        count = held(job).update(
            state=Case(When(again, then=Value(Job.State.WAITING)), default=Value(state)),
            attempt=Case(
                When(again, then=Value(0)), default=F("attempt"), output_field=models.IntegerField()
            ),
            finished_at=Case(When(again, then=Value(None)), default=Value(now)),
            asked_again=False,
            cancel_asked=Case(When(again, then=Value(False)), default=F("cancel_asked")),
            owner="",
            lease_until=None,
            seconds_left=None,
            **fields,
        )
        if not count:
            log.warning("job %s ended late; another worker has it", job.pk)
            return False
        ended_owner, ended_attempt = job.owner, job.attempt
        job.refresh_from_db()
        if job.state == Job.State.WAITING:
            ring_on_commit(job.queue)
        elif job.state == Job.State.FAILED:
            _tell_kind(job)
    log.info(
        "job %s (%s) %s by %s attempt %d", job.pk, job.kind, job.state, ended_owner, ended_attempt
    )
    return True


def _tell_kind(job: Job) -> None:
    """Let the kind mark its subject as failed; a mistake there must not undo the failing."""
    with contextlib.suppress(LookupError):
        kind = job_kinds.get(job.kind)
        if kind.on_failed is None:
            return
        try:
            with transaction.atomic():
                kind.on_failed(job)
        except Exception:
            log.exception("on_failed of job %s (%s) broke", job.pk, job.kind)


def _done(job: Job) -> None:
    _settle(job, Job.State.DONE, progress=1.0, reason="")


def _fail(job: Job, reason: str) -> None:
    _settle(job, Job.State.FAILED, reason=reason)


def _stopped(job: Job, why: str, kind: JobKind) -> None:
    if why == CANCELLED:
        _settle(job, Job.State.CANCELLED, reason="")
    elif why == TOO_LONG:
        _fail(job, f"It took longer than {kind.wall_s / 60:.0f} minutes. Try again when less runs.")
    elif why == STOPPING:  # not the job's fault: this attempt is not counted
        held(job).update(
            state=Job.State.WAITING,
            owner="",
            lease_until=None,
            seconds_left=None,
            attempt=F("attempt") - 1,
        )


def _broke(job: Job, kind: JobKind, problem: Exception) -> None:
    reason = f"{type(problem).__name__}: {problem}"[:2000]
    if job.attempt >= settings.JOB_MAX_ATTEMPTS:
        _fail(job, f"Tried {job.attempt} times. {reason}")
        return
    wait_s = kind.retry_s * 4 ** (job.attempt - 1)
    held(job).update(
        state=Job.State.WAITING,
        owner="",
        lease_until=None,
        seconds_left=None,
        not_before=timezone.now() + timedelta(seconds=wait_s),
        reason=reason,
    )


def look(queue: str, *, stopping: Callable[[], bool] = lambda: False) -> int:
    """What a worker does when the bell rings: work off the queue until none is due."""
    owner, count = new_owner(), 0
    while not stopping() and (job := claim(queue, owner)) is not None:
        run_claimed(job, stopping=stopping, beat=True, worker=True)
        count += 1
    return count


def drain(queues: Sequence[str] = QUEUES) -> int:
    """Work off all waiting jobs in this process, the jobs they ask for included.

    For `--wait` and for tests. Inside a transaction (a test's) no heartbeat thread is
    started, since its own connection could not see the rows.
    """
    owner, count = new_owner(), 0
    beat = not connection.in_atomic_block
    while True:
        job = next((job for queue in queues if (job := claim(queue, owner))), None)
        if job is not None:
            run_claimed(job, stopping=lambda: False, beat=beat, worker=False)
            count += 1
        elif not _waited_for_retry(queues):
            return count


def _waited_for_retry(queues: Sequence[str]) -> bool:
    soon = timezone.now() + timedelta(seconds=DRAIN_WAITS_S)
    waiting = Job.objects.filter(queue__in=queues, state=Job.State.WAITING, not_before__lte=soon)
    first = waiting.order_by("not_before").values_list("not_before", flat=True).first()
    if first is None:
        return False
    time.sleep(max(0.0, (first - timezone.now()).total_seconds()))
    return True


# --- leases that ran out (called by the sweep) -----------------------------------------------


def expire_leases(limit: int = 100) -> int:
    """Give back what dead workers held; after the last attempt it is failed, with the reason."""
    now = timezone.now()
    late = Job.objects.filter(state=Job.State.RUNNING, lease_until__lt=now)[:limit]
    return sum(_expire(job, now) for job in late)


def _expire(job: Job, now: datetime) -> bool:
    if job.cancel_asked:
        return _settle_expired(job, now, Job.State.CANCELLED, "")
    if job.attempt >= settings.JOB_MAX_ATTEMPTS:
        reason = (
            f"The worker died or hung {job.attempt} times while doing this. If it is about a "
            "file, the file may be the cause: look at it before you try again."
        )
        return _settle_expired(job, now, Job.State.FAILED, reason)
    back = (
        held(job)
        .filter(lease_until__lt=now)
        .update(state=Job.State.WAITING, owner="", lease_until=None, seconds_left=None)
    )
    if back:
        log.warning("job %s (%s): lease of %s ran out", job.pk, job.kind, job.owner)
    return bool(back)


def _settle_expired(job: Job, now: datetime, state: str, reason: str) -> bool:
    with transaction.atomic():
        # Renewed in the meantime: then the guard below counts 0, and nothing is settled.
        if held(job).filter(lease_until__lt=now).update(heartbeat_at=now) == 0:
            return False
        return _settle(job, state, reason=reason)
