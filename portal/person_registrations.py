"""What exporting and erasing people puts into the site's registries."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.translation import gettext_lazy as _

from portal.actions import erase, erase_site, export
from portal.models import PersonRequest
from portal.registry import (
    JobKind,
    KeepingRule,
    NavEntry,
    SweepStep,
    club_places,
    erasure_steps,
    job_kinds,
    keeping_rules,
    sweep_steps,
)
from portal.shell import is_admin

if TYPE_CHECKING:
    from django.db.models import QuerySet

    from portal.models import Job, User


def register_persons() -> None:
    """Called once at start-up."""
    job_kinds.register(
        JobKind(
            name=export.JOB_KIND,
            queue="render",  # it copies films
            label=_("Taking your data along"),
            run=export.run_export,
            visible_to=_jobs_of_own_requests,
            wall_s=7200.0,
            on_failed=export.export_failed,
        )
    )
    job_kinds.register(
        JobKind(
            name=erase.JOB_KIND,
            queue="quick",
            label=_("Erasing somebody’s data"),
            run=erase.run_erase,
            visible_to=lambda jobs, user: jobs.none(),
            wall_s=3600.0,
            retry_s=60.0,
            on_failed=erase.erase_failed,
        )
    )
    keeping_rules.register(
        KeepingRule(
            name=export.KEEPING_RULE,
            label=_("Data taken along: until it is fetched, at most seven days"),
            delete_by=export.until,
        )
    )
    for step in erase_site.STEPS:
        erasure_steps.register(step)
    sweep_steps.register(SweepStep("exports", 60.0, export.forget_exports))
    sweep_steps.register(SweepStep("erasures", 600.0, erase.ask_due))
    club_places.register(
        NavEntry("requests", _("Requests"), "portal:requests", 30, shown_to=is_admin)
    )


def _jobs_of_own_requests(jobs: QuerySet[Job], user: User) -> QuerySet[Job]:
    mine = PersonRequest.objects.made_by(user)
    return jobs.filter(subject_id__in=mine.values("pk"))
