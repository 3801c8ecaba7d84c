"""Asking for background work, cancelling it and trying it again.

The row is the truth. A Celery message is only a doorbell that says "look at this queue":
whoever hears it works off rows by priority until none is left, so one ring may serve many
rows, and a lost or doubled ring harms nothing. What works them off is `job_worker`; what a
job's own `run` is given and may ask is `job_runs`.
"""

from __future__ import annotations

import logging
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any

from django.conf import settings
from django.db import IntegrityError, connection, models, transaction
from django.utils import timezone

from portal.actions import audit
from portal.models import Job
from portal.registry import JobKind, job_kinds

if TYPE_CHECKING:
    from portal.models import User

log = logging.getLogger("portal.jobs")

QUEUES = ("quick", "render")
OPEN = (Job.State.WAITING, Job.State.RUNNING)
BELLS_ENOUGH = 20  # unheard messages in the broker's folder; more would say nothing new


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
    """Ring when the transaction commits, once however many jobs it asks for."""
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
