"""What the site itself puts into its registries."""

from __future__ import annotations

from portal.actions.mail import JOB_KIND, mail_failed, send_mail_job
from portal.registry import JobKind, job_kinds


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
            on_failed=mail_failed,
        )
    )
