"""What keeping puts into the site's registries."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from typing import TYPE_CHECKING

from django.utils.translation import gettext_lazy as _

from clinics.actions import (
    keeping,
    keeping_dates,
    keeping_rules,
    keeping_warn,
    purge_clips,
    purge_originals,
    purge_swims,
)
from clinics.actions import purge_people as people
from clinics.actions import purge_records as records
from clinics.models import Clinic, Swim
from portal import audit_words
from portal.models import Membership
from portal.registry import (
    JobKind,
    KeepingRule,
    NavEntry,
    SweepStep,
    club_places,
    job_kinds,
    purge_steps,
    sweep_steps,
)
from portal.registry import keeping_rules as rules
from portal.shell import is_admin

if TYPE_CHECKING:
    from django.db.models import QuerySet

    from portal.models import Job, User

PURGE = (
    purge_clips.CLIPS_STEP,
    purge_clips.STRAYS_STEP,
    purge_swims.SWIMS_STEP,
    purge_originals.ORIGINALS_STEP,
    records.UPLOADS_STEP,
    records.RECORDS_STEP,
    people.SHEETS_STEP,
    people.SWIMMERS_STEP,
)


def register() -> None:
    """Called once at start-up."""
    for rule in (
        KeepingRule(
            name=keeping.ORIGINALS,
            label=_("Originals and their sound: so many days after the clinic is closed"),
            delete_by=keeping.originals_delete_by,
        ),
        KeepingRule(
            name=keeping.RECORDING,
            label=_("What is made of whole recordings: with the originals"),
            delete_by=keeping.recording_delete_by,
        ),
        KeepingRule(
            name=keeping.CLIPS,
            label=_("Clips: for some time after the swimmer's next clinic"),
            delete_by=keeping.clip_files_delete_by,
        ),
        KeepingRule(
            name=keeping.WITHDRAWN,
            label=_("Clips of who agrees no longer: 30 days to take them along"),
            delete_by=keeping.clip_files_delete_by,
        ),
    ):
        rules.register(rule)
    audit_words.know(audit_words.DELETED, {"custody.": _("noted where a copy outside is")})
    for step in PURGE:
        purge_steps.register(step)
    job_kinds.register(
        JobKind(
            name=keeping_rules.DATE_KIND,
            queue="quick",
            label=_("Working out delete-by dates"),
            run=date_again,
            visible_to=_jobs_of_clubs,
        )
    )
    sweep_steps.register(SweepStep("swim-dates", 60.0, keeping_dates.DateAgain()))
    sweep_steps.register(SweepStep("original-dates", 3600.0, keeping.date_all_originals))
    sweep_steps.register(SweepStep("keeping-warnings", 3600.0, keeping_warn.warn))
    club_places.register(
        NavEntry("keeping", _("Keeping"), "clinics:keeping", 20, shown_to=is_admin)
    )


def date_again(job: Job, pulse: Callable[..., None]) -> None:
    """The job: a club's rules, or who is in its clinics, changed. May run twice."""
    club = uuid.UUID(str(job.subject_id))
    clinics = list(Clinic.objects.filter(club=club))
    for number, clinic in enumerate(clinics, start=1):
        keeping.date_originals(clinic=clinic)
        keeping_dates.date_swims(Swim.objects.filter(entry__clinic=clinic))
        pulse(number / len(clinics))


def _jobs_of_clubs(jobs: QuerySet[Job], user: User) -> QuerySet[Job]:
    admin = Membership.objects.current().filter(user=user, role=Membership.Role.ADMIN)
    return jobs.filter(subject_id__in=admin.values("club_id"))
