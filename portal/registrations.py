"""What the site itself puts into its registries."""

from __future__ import annotations

from importlib import import_module

from django.conf import settings
from django.utils.translation import gettext_lazy as _

from portal.actions import health, sweep, tidy
from portal.actions.mail import JOB_KIND, mail_failed, send_mail_job
from portal.person_registrations import register_persons
from portal.registry import (
    JobKind,
    NavEntry,
    SweepStep,
    health_checks,
    job_kinds,
    navigation,
    purge_steps,
    sweep_steps,
)
from portal.shell import is_admin
from portal.trail_registrations import register_trail


def register_all() -> None:
    """Called once at start-up."""
    job_kinds.register(
        JobKind(
            name=JOB_KIND,
            queue="quick",
            label="Sending mail",
            run=send_mail_job,
            visible_to=lambda jobs, user: jobs.none(),  # nobody's mail is anybody's to follow
            wall_s=60.0,
            retry_s=60.0,  # a mail server that restarts is back after the second try
            on_failed=mail_failed,
        )
    )
    navigation.register(NavEntry("people", _("People"), "portal:my-people", 40, shown_to=is_admin))
    for check in health.ON_THE_PAGE:
        health_checks.register(check)
    sweep_steps.register(SweepStep("old-sign-ins", 3600.0, tidy.forget_what_is_old))
    for step in sweep.STEPS:
        sweep_steps.register(step)
    _register_purge()
    register_persons()
    register_trail()
    for name in settings.EXTRA_REGISTRATIONS:
        import_module(name).register_all()


def _register_purge() -> None:
    from portal.actions import purge

    purge_steps.register(purge.FILES)
    sweep_steps.register(SweepStep("purge", 3600.0, purge.sweep))
    sweep_steps.register(SweepStep("old-file-rows", 3600.0, purge.forget_rows))
