"""Whether the site does its work: what the health page and `doctor` ask."""

from __future__ import annotations

import logging
import shutil
import tempfile
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.exceptions import ImproperlyConfigured
from django.db import connection
from django.db.migrations.executor import MigrationExecutor
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from portal.actions.jobs import QUEUES
from portal.models import Heartbeat, Job
from portal.registry import Finding, HealthCheck, health_checks

log = logging.getLogger("portal.health")

WORKER_BEAT_S = 5.0
SWEEP = "sweep"
AUDIT = "audit-trail"  # when it was last verified, and what was found
KEPT = (SWEEP, AUDIT)
MISSED_BEATS = 3  # so many intervals without a sign of life are red


@dataclass(frozen=True)
class Report:
    """One check's name, label and finding."""

    name: str
    label: Any
    finding: Finding


def beat(*, name: str, queue: str = "", detail: dict[str, Any] | None = None) -> None:
    """Note that a worker or the sweep is alive now."""
    Heartbeat.objects.update_or_create(
        name=name,
        defaults={"queue": queue, "seen_at": timezone.now(), "detail": detail or {}},
    )


def look_over(checks: Iterable[HealthCheck] | None = None) -> list[Report]:
    """Run every check; one that breaks is red and says how, and stops no other."""
    return [
        Report(check.name, check.label, _run(check))
        for check in (health_checks.all() if checks is None else checks)
    ]


def _run(check: HealthCheck) -> Finding:
    try:
        return check.run()
    except Exception as problem:
        log.exception("health check %s broke", check.name)
        return Finding(False, f"{type(problem).__name__}: {problem}")


def check_database() -> Finding:
    """Readable; on SQLite with a write-ahead log, and no transaction that begins as a reader."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT 1")
        if connection.vendor != "sqlite":
            return Finding(True, _("PostgreSQL answers."))
        journal = cursor.execute("PRAGMA journal_mode").fetchone()[0]
    mode = getattr(connection, "transaction_mode", None)
    in_memory = connection.is_in_memory_db()  # type: ignore[attr-defined]
    if mode == "IMMEDIATE" and (journal == "wal" or in_memory):
        return Finding(True, _("SQLite answers, with a write-ahead log."))
    return Finding(
        False,
        _(
            "SQLite runs with journal “%(journal)s” and transactions “%(mode)s”; it needs WAL "
            "and IMMEDIATE, and a local disk."
        )
        % {"journal": journal, "mode": mode},
    )


def check_migrations() -> Finding:
    """Is the database as this release wants it?"""
    executor = MigrationExecutor(connection)
    missing = executor.migration_plan(executor.loader.graph.leaf_nodes())
    if not missing:
        return Finding(True, _("The database fits this release."))
    names = ", ".join(f"{migration.app_label} {migration.name}" for migration, _done in missing[:3])
    return Finding(
        False,
        _("%(count)d migrations are missing (%(names)s …). Run: manage.py migrate")
        % {"count": len(missing), "names": names},
    )


def check_broker() -> Finding:
    """Can the doorbell be rung? Work is not lost without it; it starts later."""
    if settings.REDIS_URL:
        return _check_redis()
    folder = Path(settings.BROKER_DIR)
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        with tempfile.NamedTemporaryFile(dir=folder, prefix=".check-"):
            pass
    except OSError as problem:
        return Finding(
            False, _("The broker's folder cannot be written: %(problem)s") % {"problem": problem}
        )
    return Finding(True, _("The broker's folder can be written."))


def _check_redis() -> Finding:
    from portal.celery import app

    try:
        with app.connection_for_write() as broker:
            broker.ensure_connection(max_retries=1, interval_start=1, timeout=3)
    except Exception as problem:
        return Finding(
            False,
            _("Redis does not answer (%(problem)s). Jobs wait; the sweep starts them later.")
            % {"problem": problem},
        )
    return Finding(True, _("Redis answers."))


def check_workers() -> Finding:
    """At least one live worker for each queue."""
    since = timezone.now() - timedelta(seconds=MISSED_BEATS * WORKER_BEAT_S)
    alive = list(
        Heartbeat.objects.filter(queue__in=QUEUES, seen_at__gte=since).values_list(
            "queue", flat=True
        )
    )
    missing = [queue for queue in QUEUES if queue not in alive]
    if missing:
        return Finding(
            False,
            _("No worker is alive for: %(queues)s. Start one: manage.py worker %(first)s")
            % {"queues": ", ".join(missing), "first": missing[0]},
        )
    return Finding(True, _("%(count)d workers are alive.") % {"count": len(alive)})


def check_sweep() -> Finding:
    """Red when the last sweep is older than three intervals, or a step of it broke."""
    last = Heartbeat.objects.filter(name=SWEEP).first()
    if last is None:
        return Finding(False, _("No sweep has run yet. Start it: manage.py sweep --forever"))
    age_s = (timezone.now() - last.seen_at).total_seconds()
    if age_s > MISSED_BEATS * settings.JOB_SWEEP_S:
        return Finding(
            False,
            _("The last sweep was %(age)d s ago. Start it: manage.py sweep --forever")
            % {"age": age_s},
        )
    broken = last.detail.get("broken", {})
    if broken:
        step, problem = next(iter(broken.items()))
        return Finding(
            False,
            _("The sweep's step “%(step)s” breaks: %(problem)s")
            % {"step": step, "problem": problem},
        )
    return Finding(True, _("The last sweep was %(age)d s ago.") % {"age": age_s})


def check_disk() -> Finding:
    """Room for work besides the reserve that keeps sign-in and deletion going."""
    settings.DATA_DIR.mkdir(parents=True, exist_ok=True)
    free = shutil.disk_usage(settings.DATA_DIR).free
    shown = {
        "free": f"{free / 1e9:.1f}",
        "reserve": f"{settings.FREE_SPACE_RESERVE_BYTES / 1e9:.1f}",
    }
    if free < settings.FREE_SPACE_RESERVE_BYTES:
        return Finding(
            False,
            _(
                "%(free)s GB are free, under the reserve of %(reserve)s GB: uploads are refused. "
                "Delete originals that are due, or add disk."
            )
            % shown,
        )
    return Finding(True, _("%(free)s GB are free.") % shown)


def check_jobs() -> Finding:
    """Failed jobs of the last week: somebody should look at them."""
    since = timezone.now() - timedelta(days=7)
    failed = Job.objects.filter(state=Job.State.FAILED, finished_at__gte=since).count()
    waiting = Job.objects.filter(state=Job.State.WAITING).count()
    if failed:
        return Finding(
            False,
            _("%(failed)d jobs failed this week; %(waiting)d wait. Retry them where they began.")
            % {"failed": failed, "waiting": waiting},
        )
    return Finding(True, _("%(waiting)d jobs wait, none has failed.") % {"waiting": waiting})


def check_mail() -> Finding:
    """Does mail leave the house?"""
    backend = settings.EMAIL_BACKEND.rsplit(".", 2)[-2]
    if backend in {"smtp", "dev_smtp"}:
        return Finding(True, _("Mail goes through %(host)s.") % {"host": settings.EMAIL_HOST})
    if settings.PRODUCTION:
        return Finding(False, _("Mail goes nowhere (%(how)s). Set EMAIL_URL.") % {"how": backend})
    return Finding(True, _("Development: mail goes to “%(how)s” only.") % {"how": backend})


ON_THE_PAGE = (
    HealthCheck("database", gettext_lazy("Database"), check_database),
    HealthCheck("broker", gettext_lazy("Broker"), check_broker),
    HealthCheck("workers", gettext_lazy("Workers"), check_workers),
    HealthCheck("sweep", gettext_lazy("Sweep"), check_sweep),
    HealthCheck("jobs", gettext_lazy("Jobs"), check_jobs),
    HealthCheck("disk", gettext_lazy("Disk"), check_disk),
    HealthCheck("mail", gettext_lazy("Mail"), check_mail),
)


def unapplied_migrations() -> str:
    """A sentence if the database does not fit this release, else nothing."""
    try:
        finding = check_migrations()
    except ImproperlyConfigured as problem:
        return str(problem)
    return "" if finding.ok else str(finding.sentence)
