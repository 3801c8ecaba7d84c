"""What clinics tell the site about themselves: jobs, keeping rules, navigation."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.translation import gettext_lazy as _

from clinics.person_registrations import register_persons
from clinics.registrations_consent import register_consent
from clinics.registrations_sign_up import register_sign_up
from clinics.showing_registrations import register_showing
from portal.registry import (
    JobKind,
    LeavingModule,
    NavEntry,
    SweepStep,
    health_checks,
    job_kinds,
    leaving_modules,
    ledger_replays,
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
    from clinics.actions import replay, swimmer_accounts, trail, try_out_gone

    people_hooks.register(swimmer_accounts.HOOKS)
    trail.register()
    for again in replay.REPLAYS:
        ledger_replays.register(again)
    _register_bringing_in()
    _register_cutting()
    _register_keeping()
    _register_places()
    leaving_modules.register(LeavingModule("pool", "clinics/offline-leaving.js"))
    register_showing()
    _register_health()
    register_persons()
    register_consent()
    try_out_gone.register()
    register_sign_up()


def _register_health() -> None:
    from clinics.actions import health

    for check in health.CHECKS:
        health_checks.register(check)


def _register_bringing_in() -> None:
    from clinics.actions import index, look_through, slate, upload_cards, upload_ends

    # All read whole recordings: on the queue of heavy work, the first two before any clip.
    job_kinds.register(
        JobKind(
            name="take-in",
            queue="render",
            label=_("Taking in a card"),
            run=upload_cards.take_in_card,
            visible_to=_jobs_of_own_uploads,
            wall_s=6 * HOURS_S,
        )
    )
    job_kinds.register(
        JobKind(
            name="index-recording",
            queue="render",
            label=_("Reading a recording"),
            run=index.run_index,
            visible_to=_jobs_of_recordings,
            wall_s=6 * HOURS_S,
            on_failed=index.index_failed,
        )
    )
    job_kinds.register(
        JobKind(
            name="look-through",
            queue="render",
            label=_("Looking through a recording"),
            run=look_through.run_look_through,
            visible_to=_jobs_of_recordings,
            wall_s=6 * HOURS_S,
        )
    )
    job_kinds.register(
        JobKind(
            name="read-slates",
            queue="render",
            label=_("Reading the slates in a recording"),
            run=slate.run_read_slates,
            visible_to=_jobs_of_recordings,
            wall_s=6 * HOURS_S,
        )
    )
    sweep_steps.register(SweepStep("ended-uploads", 600.0, upload_ends.end_expired))


def _register_cutting() -> None:
    from clinics.actions import align, clip_files, render_clips

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
            name=clip_files.RENDER_KIND,
            queue="render",
            label=_("Making a clip"),
            run=render_clips.run_render,
            visible_to=_jobs_of_clips,
            wall_s=2 * HOURS_S,
            on_failed=render_clips.render_failed,
        )
    )


def _register_keeping() -> None:
    from clinics.actions import keeping_steps

    keeping_steps.register()


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
