"""Doing what was asked for: claim a row, run it, settle it.

A worker claims a row with one conditional UPDATE, renews its lease while it works, and may
settle the row only while the row still names it and its attempt. What dead workers held the
sweep gives back here.
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
from datetime import datetime, timedelta
from typing import Any

from django.conf import settings
from django.db import connection, connections, models, transaction
from django.db.models import Case, F, Q, Value, When
from django.utils import timezone

from portal.actions import maintenance
from portal.actions.job_runs import (
    CANCELLED,
    LOST,
    STOPPING,
    TOO_LONG,
    JobFailed,
    JobStopped,
    Pulse,
    current,
    held,
)
from portal.actions.jobs import QUEUES, ring_on_commit
from portal.models import Job
from portal.registry import JobKind, job_kinds

log = logging.getLogger("portal.jobs")

DRAIN_WAITS_S = 15.0  # `drain` waits for a retry that is due within this time


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
    token = current.set(pulse)
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
        current.reset(token)


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
