"""What the site is told about reading stroke rates from the picture."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.translation import gettext_lazy as _

from portal import audit_words
from portal.registry import JobKind, job_kinds

if TYPE_CHECKING:
    from django.db.models import QuerySet

    from portal.models import Job, User


def register_rate_read() -> None:
    """Called once at start-up. Readings have no files: they are kept as the swim's marks are, and
    go with the swim."""
    from feedback.actions import rate_read

    job_kinds.register(
        JobKind(
            name=rate_read.JOB_KIND,
            queue="render",
            label=_("Reading the stroke rate"),
            run=rate_read.run_read,
            visible_to=_jobs_of_readings,
            wall_s=1800.0,
            on_failed=rate_read.read_failed,
        )
    )
    audit_words.know(
        audit_words.WORK,
        {
            "rate-read.ask": _("had the stroke rate read from the picture"),
            "rate-read.remove": _("took a stroke rate read from the picture away"),
        },
    )


def _jobs_of_readings(jobs: QuerySet[Job], user: User) -> QuerySet[Job]:
    from feedback.models import RateReading

    theirs = RateReading.objects.filter(asked_by=user).visible_to(user)
    return jobs.filter(subject_id__in=theirs.values("pk"))
