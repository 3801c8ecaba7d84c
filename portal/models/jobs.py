"""Background work. The row is the truth; the broker only rings a bell."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING

from django.db import models
from django.utils import timezone

if TYPE_CHECKING:
    from portal.models.people import User


class JobQuerySet(models.QuerySet["Job"]):
    def visible_to(self, user: User) -> JobQuerySet:
        """Jobs whose subject the user may know about, asked kind by kind; deny by default."""
        from portal.registry import job_kinds

        seen: models.QuerySet[Job] = self.none()
        for kind in job_kinds.all():
            seen = seen | kind.visible_to(self.filter(kind=kind.name), user)
        return seen  # type: ignore[return-value]


class Job(models.Model):
    """One piece of work on one subject."""

    class State(models.TextChoices):
        WAITING = "waiting"
        RUNNING = "running"
        DONE = "done"
        FAILED = "failed"
        CANCELLED = "cancelled"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    kind = models.CharField(max_length=40)
    queue = models.CharField(max_length=12)
    subject_kind = models.CharField(max_length=60)
    subject_id = models.UUIDField(null=True)
    params = models.JSONField(default=dict, blank=True)
    priority = models.IntegerField(default=100)  # low numbers first
    state = models.CharField(max_length=10, choices=State, default=State.WAITING)
    progress = models.FloatField(default=0.0)
    seconds_left = models.FloatField(null=True)
    owner = models.CharField(max_length=80, blank=True)  # the worker that holds the lease
    lease_until = models.DateTimeField(null=True)
    heartbeat_at = models.DateTimeField(null=True)
    attempt = models.PositiveSmallIntegerField(default=0)
    not_before = models.DateTimeField(null=True)
    cancel_asked = models.BooleanField(default=False)
    asked_again = models.BooleanField(default=False)  # asked for while it ran: runs once more
    reason = models.TextField(blank=True)
    asked_by = models.ForeignKey("portal.User", models.SET_NULL, null=True, related_name="+")
    created_at = models.DateTimeField(default=timezone.now)
    started_at = models.DateTimeField(null=True)
    finished_at = models.DateTimeField(null=True)

    objects = JobQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["kind", "subject_kind", "subject_id"],
                condition=models.Q(state__in=["waiting", "running"]),
                name="job_once_per_subject_while_open",
            ),
            models.CheckConstraint(
                condition=models.Q(progress__gte=0) & models.Q(progress__lte=1),
                name="job_progress_zero_to_one",
            ),
            models.CheckConstraint(
                condition=~models.Q(state="running") | models.Q(lease_until__isnull=False),
                name="job_running_has_lease",
            ),
        ]
        indexes = [
            models.Index(fields=["queue", "state", "priority", "created_at"]),
            models.Index(fields=["subject_kind", "subject_id"]),
        ]


class Heartbeat(models.Model):
    """When a worker or the sweep was last seen alive; the health page reads it."""

    name = models.CharField(max_length=120, primary_key=True)  # "sweep", or host:pid of a worker
    queue = models.CharField(max_length=12, blank=True)  # of a worker; empty: the sweep
    seen_at = models.DateTimeField()
    detail = models.JSONField(default=dict, blank=True)
