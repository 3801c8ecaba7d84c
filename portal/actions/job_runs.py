"""What a job's `run` is given and may ask: its pulse, why it must stop, and transactions that
hold only while the job is still its worker's.

A worker's hold on a row is its name and the attempt; `held` finds the row only while both are
still there, and every write of a worker goes through it.
"""

from __future__ import annotations

import contextlib
import logging
import time
from collections.abc import Callable, Iterator
from contextvars import ContextVar
from datetime import timedelta
from typing import Any

from django.conf import settings
from django.db import DatabaseError, models, transaction
from django.utils import timezone

from portal.models import Job
from portal.registry import JobKind

log = logging.getLogger("portal.jobs")

PULSE_EVERY_S = 0.5  # at most so often does a pulse write or a question read the row


class JobStopped(Exception):
    """The job was cancelled, lost to another worker, too long, or the worker is stopping."""

    def __init__(self, why: str) -> None:
        super().__init__(why)
        self.why = why


class JobFailed(Exception):
    """The job cannot succeed; the sentence tells a person why and what to do next."""


CANCELLED, LOST, TOO_LONG, STOPPING = "cancelled", "lost", "too long", "stopping"


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


current: ContextVar[Pulse | None] = ContextVar("current_job", default=None)


def hold_current_job() -> None:
    """Inside a transaction of a job's `run`: go on only while the job is still ours.

    The UPDATE keeps the row locked until the transaction ends, so that nobody can claim
    it in between. Outside a job it does nothing.
    """
    pulse = current.get()
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
