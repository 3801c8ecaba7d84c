"""What feedback tells the site about itself: jobs, navigation."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.translation import gettext_lazy as _

from clinics.actions.board.said import ask_before_removing
from feedback.actions import purge_take_along
from feedback.actions.tell import JOB_KIND, tell_job
from feedback.person_registrations import register_persons
from feedback.rate_read_registrations import register_rate_read
from feedback.showing_registrations import register_showing
from feedback.trail_registrations import register_trail
from portal.registry import (
    JobKind,
    KeepingRule,
    NavEntry,
    SweepStep,
    job_kinds,
    keeping_rules,
    navigation,
    sweep_steps,
)
from portal.requests import SignedInRequest

if TYPE_CHECKING:
    from django.db.models import QuerySet

    from clinics.models import Swim
    from portal.models import Job, User


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
    register_trail()
    _register_take_along()
    register_showing()
    register_rate_read()
    purge_take_along.register()
    register_persons()
    ask_before_removing("comments", _is_commented)
    ask_before_removing("feedback", _is_written_for)
    ask_before_removing("marks", _is_marked)
    ask_before_removing("drawings", _is_drawn_on)
    ask_before_removing("body points", _has_body_points)
    ask_before_removing("take-home", _has_page)
    ask_before_removing("strokes of lengths", _has_strokes_said)
    ask_before_removing("stroke rates", _has_rates_read)
    ask_before_removing("marked start", _counts_from_a_mark)
    navigation.register(
        NavEntry("my-swims", _("My swims"), "feedback:my-swims", 10, shown_to=_is_swimmer)
    )
    navigation.register(
        NavEntry("waiting", _("Waiting for you"), "feedback:waiting", 20, shown_to=_is_coach)
    )


def _register_take_along() -> None:
    from clinics.actions.clip_files import take_away_with_files
    from clinics.actions.keeping import date_with_clips
    from feedback.actions import make_take_along, take_along

    job_kinds.register(
        JobKind(
            name=take_along.JOB_KIND,
            queue="render",
            label=_("Making a still or film"),
            run=make_take_along.run_make,
            visible_to=_jobs_of_take_along,
            wall_s=7200.0,
            on_failed=make_take_along.make_failed,
        )
    )
    keeping_rules.register(
        KeepingRule(
            name=take_along.KEEPING_RULE,
            label=_("Stills and films to take along: as long as the first clip in them to go"),
            delete_by=take_along.delete_by,
        )
    )
    date_with_clips("take-along", take_along.date_again)
    take_away_with_files("take-along", take_along.take_away_of)
    sweep_steps.register(SweepStep("take-along", 60.0, take_along.sweep))


def _jobs_of_take_along(jobs: QuerySet[Job], user: User) -> QuerySet[Job]:
    from feedback.models import TakeAlong

    theirs = TakeAlong.objects.filter(asked_by=user).visible_to(user)
    return jobs.filter(subject_id__in=theirs.values("pk"))


def _is_commented(swim: Swim) -> bool:
    """Drafts too: they would go with the swim."""
    from feedback.models import Comment

    return Comment.objects.filter(swim=swim).exists()


def _is_written_for(swim: Swim) -> bool:
    from feedback.models import Feedback, FeedbackSent

    return any(rows.objects.filter(swim=swim).exists() for rows in (Feedback, FeedbackSent))


def _is_marked(swim: Swim) -> bool:
    from feedback.models import Mark

    return Mark.objects.filter(swim=swim).exists()


def _is_drawn_on(swim: Swim) -> bool:
    """Drafts too, as with comments."""
    from feedback.models import Drawing

    return Drawing.objects.filter(swim=swim).exists()


def _has_page(swim: Swim) -> bool:
    from feedback.models import TakeHome

    return TakeHome.objects.filter(swim=swim).exists()


def _has_body_points(swim: Swim) -> bool:
    from feedback.models import BodyPoints

    return BodyPoints.objects.filter(swim=swim).exists()


def _has_strokes_said(swim: Swim) -> bool:
    from feedback.models import LengthStrokes

    return LengthStrokes.objects.filter(swim=swim).exists()


def _has_rates_read(swim: Swim) -> bool:
    """What is being read, too: somebody asked for it."""
    from feedback.models import RateReading

    return RateReading.objects.filter(swim=swim).exists()


def _counts_from_a_mark(swim: Swim) -> bool:
    """Its mark may have been taken away since; the start that was chosen stays."""
    from clinics.models import ChosenStart

    return ChosenStart.objects.filter(swim=swim).exists()


def _is_swimmer(request: SignedInRequest) -> bool:
    from clinics.models import Swimmer

    return Swimmer.objects.filter(user=request.user).exists()


def _is_coach(request: SignedInRequest) -> bool:
    from portal.models import Membership

    current = Membership.objects.current()
    return current.filter(user=request.user, role=Membership.Role.COACH).exists()
