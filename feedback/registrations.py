"""What feedback tells the site about itself: jobs, navigation."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from feedback.actions.tell import JOB_KIND, tell_job
from portal.registry import JobKind, NavEntry, job_kinds, navigation
from portal.requests import SignedInRequest


def register_all() -> None:
    """Called once at start-up."""
    job_kinds.register(
        JobKind(
            name=JOB_KIND,
            queue="quick",
            label="Telling what is new",
            run=tell_job,
            visible_to=lambda jobs, user: jobs.none(),  # nobody's mail is anybody's to follow
            wall_s=60.0,
        )
    )
    navigation.register(
        NavEntry("my-swims", _("My swims"), "feedback:my-swims", 10, shown_to=_is_swimmer)
    )
    navigation.register(
        NavEntry("waiting", _("Waiting for you"), "feedback:waiting", 20, shown_to=_is_coach)
    )


def _is_swimmer(request: SignedInRequest) -> bool:
    from clinics.models import Swimmer

    return Swimmer.objects.filter(user=request.user).exists()


def _is_coach(request: SignedInRequest) -> bool:
    from portal.models import Membership

    current = Membership.objects.current()
    return current.filter(user=request.user, role=Membership.Role.COACH).exists()
