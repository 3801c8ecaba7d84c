"""The sweep: what brings rows, messages and files back together (conventions 14).

Each step works in bounded batches, may run twice, and one that breaks is logged and stops
no other. The steps of other packages come through the registry.
"""

from __future__ import annotations

import logging
import shutil
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import timedelta
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import transaction
from django.utils import timezone

from portal.actions import audit, files, health, job_worker, jobs, maintenance
from portal.models import Heartbeat, Job, StoredFile
from portal.registry import SweepStep, sweep_steps

log = logging.getLogger("portal.sweep")

DAY_S = 24 * 3600
TEMPORARY_OLD_S = DAY_S
ORPHAN_OLD_S = 3600  # a younger file may be about to get its row
BATCH = 200
JOBS_KEPT_DAYS = 30


@dataclass
class Sweeper:
    """Runs what is due; remembers when each step ran and where the slow walks stopped."""

    ran_at: dict[str, float] = field(default_factory=dict)
    counts: dict[str, int] = field(default_factory=dict)
    broken: dict[str, str] = field(default_factory=dict)

    def sweep(self) -> dict[str, int]:
        """One round. Every `JOB_SWEEP_S` in the one scheduler of the site."""
        self.counts = {}
        if maintenance.is_on():
            return self.counts
        for step in sweep_steps.all():
            ran_at = self.ran_at.get(step.name)
            if ran_at is None or time.monotonic() - ran_at >= step.every_s:
                self.run(step)
        health.beat(name=health.SWEEP, detail={"counts": self.counts, "broken": self.broken})
        return self.counts

    def run(self, step: SweepStep) -> None:
        """One step; what it breaks with is remembered until it works again."""
        self.ran_at[step.name] = time.monotonic()
        try:
            self.counts[step.name] = step.run()
            self.broken.pop(step.name, None)
        except Exception as problem:
            log.exception("sweep step %s broke", step.name)
            self.broken[step.name] = f"{type(problem).__name__}: {problem}"[:300]


def ring_again() -> int:
    """Ring each queue that has something due: the bell may have been lost."""
    waiting = [queue for queue in jobs.QUEUES if job_worker.due(queue).exists()]
    return sum(jobs.ring(queue) for queue in waiting)


def remove_old_temporaries() -> int:
    """What a killed worker left in the work folder, once it is a day old."""
    root = Path(settings.WORK_DIR)
    if not root.is_dir():
        return 0
    old = [path for path in root.iterdir() if _age_s(path) > TEMPORARY_OLD_S]
    for path in old[:BATCH]:
        if path.is_dir() and not path.is_symlink():
            shutil.rmtree(path, ignore_errors=True)
        else:
            path.unlink(missing_ok=True)
    return len(old[:BATCH])


def _age_s(path: Path) -> float:
    """Seconds since the path, or for a folder anything right in it, was last written."""
    try:
        written = [path.lstat().st_mtime]
        if path.is_dir() and not path.is_symlink():
            written += [child.lstat().st_mtime for child in path.iterdir()]
    except FileNotFoundError:
        return 0.0
    return time.time() - max(written)


def remove_old_messages() -> int:
    """Messages nobody heard for a day, and half-written ones. Nothing of value is in them."""
    root = Path(settings.BROKER_DIR)
    if not root.is_dir():
        return 0
    old = [path for path in root.glob("*.msg") if _age_s(path) > DAY_S]
    old += [path for path in root.glob(".*.msg") if _age_s(path) > 60]
    for path in old:
        path.unlink(missing_ok=True)
    return len(old)


class OrphanFiles:
    """Files without a row, some folders at a time, round and round."""

    def __init__(self) -> None:
        self._rest: Iterator[Path] = iter(())

    def __call__(self) -> int:
        removed = looked = 0
        while looked < BATCH * 5:
            folder = next(self._rest, None)
            if folder is None:
                self._rest = iter(self._folders())
                break
            paths = [path for path in folder.iterdir() if path.is_file()]
            looked += len(paths) + 1
            removed += self._remove_orphans(folder, paths)
        return removed

    def _folders(self) -> list[Path]:
        roots = [files.area_root(area) for area in StoredFile.Area.values]
        found = [sub for root in roots if root.is_dir() for sub in root.iterdir()]
        return sorted(path for path in found if path.is_dir() and not path.is_symlink())

    def _remove_orphans(self, folder: Path, paths: list[Path]) -> int:
        old = {f"{folder.name}/{p.name}": p for p in paths if _age_s(p) > ORPHAN_OLD_S}
        known = set(
            StoredFile.objects.filter(name__in=old, state=StoredFile.State.READY).values_list(
                "name", flat=True
            )
        )
        for name in old.keys() - known:
            log.warning("file %s has no row: removed", name)
            old[name].unlink(missing_ok=True)
        return len(old.keys() - known)


class LostFiles:
    """Rows whose file is not there, a batch at a time: marked, told in the audit trail.

    Only where the area's marker is: an unmounted disk must not look like lost files.
    """

    def __init__(self) -> None:
        self._after: Any = None

    def __call__(self) -> int:
        rows = StoredFile.objects.filter(state=StoredFile.State.READY).order_by("pk")
        if self._after is not None:
            rows = rows.filter(pk__gt=self._after)
        batch = list(rows.select_related("club")[:BATCH])
        self._after = batch[-1].pk if len(batch) == BATCH else None
        lost = [row for row in batch if self._is_lost(row)]
        for row in lost:
            self._mark(row)
        return len(lost)

    def _is_lost(self, row: StoredFile) -> bool:
        marked = (files.area_root(row.area) / files.MARKER).exists()
        return marked and not row.local_path().exists()

    @transaction.atomic
    def _mark(self, row: StoredFile) -> None:
        ready = StoredFile.objects.filter(pk=row.pk, state=StoredFile.State.READY)
        if ready.update(state=StoredFile.State.DELETED, deleted_at=timezone.now()):
            log.error("stored file %s (%s) is not on disk: marked as deleted", row.pk, row.kind)
            audit.record(
                action="file.lost", by=None, subject=row, club=row.club, detail={"kind": row.kind}
            )


def forget_old_jobs() -> int:
    """Rows of jobs that ended a month ago, and signs of life of workers long gone."""
    before = timezone.now() - timedelta(days=JOBS_KEPT_DAYS)
    ended = [Job.State.DONE, Job.State.CANCELLED, Job.State.FAILED]
    old = Job.objects.filter(state__in=ended, finished_at__lt=before).values_list("pk", flat=True)
    count, _ = Job.objects.filter(pk__in=list(old[:BATCH])).delete()
    yesterday = timezone.now() - timedelta(days=1)
    Heartbeat.objects.filter(seen_at__lt=yesterday).exclude(name__in=health.KEPT).delete()
    return count


STEPS = (
    SweepStep("expire-leases", 0.0, job_worker.expire_leases),
    SweepStep("ring-again", 0.0, ring_again),
    SweepStep("old-temporaries", 600.0, remove_old_temporaries),
    SweepStep("old-messages", 60.0, remove_old_messages),
    SweepStep("orphan-files", 60.0, OrphanFiles()),
    SweepStep("lost-files", 60.0, LostFiles()),
    SweepStep("old-jobs", 3600.0, forget_old_jobs),
)
