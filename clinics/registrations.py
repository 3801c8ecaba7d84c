"""What clinics tell the site about themselves: jobs, keeping rules, navigation."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.translation import gettext_lazy as _

from portal.registry import (
    JobKind,
    KeepingRule,
    NavEntry,
    SweepStep,
    health_checks,
    job_kinds,
    keeping_rules,
    navigation,
    people_hooks,
    sweep_steps,
)

if TYPE_CHECKING:
    from django.db.models import QuerySet

    from portal.models import Job, User
    from portal.requests import SignedInRequest

HOURS_S = 3600.0


def register_all() -> None:
    """Called once at start-up."""
    from clinics.actions import swimmer_accounts

    people_hooks.register(swimmer_accounts.HOOKS)
    _register_bringing_in()
    _register_cutting()
    _register_places()
    _register_health()


def _register_health() -> None:
    from clinics.actions import health

    for check in health.CHECKS:
        health_checks.register(check)


def _register_bringing_in() -> None:
    from clinics.actions import bring_in, uploads

    # Both read whole recordings: on the queue of heavy work, before any clip.
    job_kinds.register(
        JobKind(
            name="take-in",
            queue="render",
            label=_("Taking in a card"),
            run=uploads.take_in_card,
            visible_to=_jobs_of_own_uploads,
            wall_s=6 * HOURS_S,
        )
    )
    job_kinds.register(
        JobKind(
            name="index-recording",
            queue="render",
            label=_("Reading a recording"),
            run=bring_in.run_index,
            visible_to=_jobs_of_recordings,
            wall_s=6 * HOURS_S,
            on_failed=bring_in.index_failed,
        )
    )
    keeping_rules.register(
        KeepingRule(
            name="originals",
            label=_("Originals: 30 days after the clinic is closed"),
            delete_by=bring_in.originals_delete_by,
        )
    )
    keeping_rules.register(
        KeepingRule(
            name="recording",
            label=_("Frame table, sound envelope and contact strip: with their recording"),
            delete_by=lambda file: None,
        )
    )
    sweep_steps.register(SweepStep("ended-uploads", 600.0, uploads.end_expired))


def _register_cutting() -> None:
    from clinics.actions import align, cut, keeping

    job_kinds.register(
        JobKind(
            name="align",
            queue="quick",
            label=_("Fitting the clocks"),
            run=align.run_align,
            visible_to=_jobs_of_clinics,
            wall_s=600.0,
        )
    )
    job_kinds.register(
        JobKind(
            name=cut.RENDER_KIND,
            queue="render",
            label=_("Making a clip"),
            run=cut.run_render,
            visible_to=_jobs_of_clips,
            wall_s=2 * HOURS_S,
            on_failed=cut.render_failed,
        )
    )
    keeping_rules.register(
        KeepingRule(
            name=keeping.CLIPS,
            label=_("Clips: a year after the clinic"),
            delete_by=keeping.clip_files_delete_by,
        )
    )
    keeping_rules.register(
        KeepingRule(
            name=keeping.WITHDRAWN,
            label=_("Clips of a swimmer who no longer agrees: 30 days after that"),
            delete_by=keeping.clip_files_delete_by,
        )
    )


def _register_places() -> None:
    navigation.register(
        NavEntry("clinics", _("Clinics"), "clinics:clinics", 30, shown_to=_works_for_a_club)
    )


def _works_for_a_club(request: SignedInRequest) -> bool:
    from portal.shell import memberships_of

    return bool(memberships_of(request))


def _jobs_of_clinics(jobs: QuerySet[Job], user: User) -> QuerySet[Job]:
    from clinics.models import Clinic

    return jobs.filter(subject_id__in=Clinic.objects.visible_to(user).values("pk"))


def _jobs_of_clips(jobs: QuerySet[Job], user: User) -> QuerySet[Job]:
    from clinics.models import Clip

    return jobs.filter(subject_id__in=Clip.objects.handled_by(user).values("pk"))


def _jobs_of_own_uploads(jobs: QuerySet[Job], user: User) -> QuerySet[Job]:
    from clinics.models import Upload

    return jobs.filter(subject_id__in=Upload.objects.owned_by(user).values("pk"))


def _jobs_of_recordings(jobs: QuerySet[Job], user: User) -> QuerySet[Job]:
    from clinics.models import Recording

    return jobs.filter(subject_id__in=Recording.objects.handled_by(user).values("pk"))
