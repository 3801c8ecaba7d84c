"""Mail when something was said: that there is something new, and where. Never what, nor who.

Comments gather for ten minutes, so that a person gets one mail about a swim and not one for
each sentence. `told_at` of a comment says that its mail is written, or that none is due.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import timedelta

from django.conf import settings
from django.db import transaction
from django.db.models import Q
from django.urls import reverse
from django.utils import timezone, translation
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from clinics.models import Swim
from feedback.models import Comment, LastLooked
from portal.actions.jobs import enqueue
from portal.actions.mail import queue_mail
from portal.models import Job, User

JOB_KIND = "feedback-digest"
GATHER_FOR = timedelta(minutes=10)


def ask_to_tell(*, swim: Swim, by: User | None) -> Job:
    """Ask for the mail about what is new on this swim, once for all of the next minutes."""
    return enqueue(kind=JOB_KIND, subject=swim, asked_by=by, not_before=timezone.now() + GATHER_FOR)


def tell_job(job: Job, pulse: Callable[..., None]) -> None:
    """The run of the job kind `feedback-digest`."""
    swim = Swim.objects.filter(pk=str(job.subject_id)).first()
    if swim is not None:
        tell_what_is_new(swim=swim)


@transaction.atomic
def tell_what_is_new(*, swim: Swim) -> list[User]:
    """Write one mail to each person for whom something new was said; the people told.

    May run twice: a comment is told of once. Whoever may not see the swim now, or has looked
    since, gets no mail. A swim that is not given yet is told of when it is given.
    """
    swim = Swim.objects.select_for_update().get(pk=swim.pk)
    new = list(
        Comment.objects.filter(swim=swim, told_at__isnull=True, sent_at__isnull=False)
        .select_related("author")
        .order_by("sent_at")
    )
    told = [p for p in _audience(swim, new) if not _has_looked_since(p, swim, new)]
    for person in told:
        _write(person, swim)
    Comment.objects.filter(pk__in=[comment.pk for comment in new]).update(told_at=timezone.now())
    return told


def _audience(swim: Swim, new: Iterable[Comment]) -> list[User]:
    """What a coach says goes to the swimmer; what the swimmer says to the coaches who spoke
    or gave the swim, and if none of these may see it any more, to all coaches of the clinic."""
    swimmer = swim.entry.swimmer.user
    by_swimmer = {swimmer is not None and comment.author_id == swimmer.pk for comment in new}
    people: list[User] = []
    if False in by_swimmer and swimmer is not None and swim.given_at is not None:
        people += _who_may_see(swim, [swimmer])
    if swimmer is not None and True in by_swimmer:
        others = User.objects.filter(is_active=True).exclude(pk=swimmer.pk)
        concerned = Q(comments__swim=swim)
        if swim.given_by is not None:
            concerned |= Q(pk=swim.given_by.pk)
        coaches = Q(memberships__club=swim.entry.clinic.club, memberships__role="coach")
        people += _who_may_see(swim, others.filter(concerned).distinct()) or _who_may_see(
            swim, others.filter(coaches).distinct()
        )
    return people


def _who_may_see(swim: Swim, people: Iterable[User]) -> list[User]:
    return [p for p in people if Swim.objects.visible_to(p).filter(pk=swim.pk).exists()]


def _has_looked_since(person: User, swim: Swim, new: list[Comment]) -> bool:
    latest = max(c.sent_at for c in new if c.author_id != person.pk and c.sent_at)
    return LastLooked.objects.filter(user=person, swim=swim, at__gte=latest).exists()


def _write(person: User, swim: Swim) -> None:
    clinic = swim.entry.clinic
    with translation.override(person.language):
        told = {
            "clinic": clinic.name,
            "date": date_format(clinic.date),
            "link": settings.SITE_URL.rstrip("/") + reverse("feedback:swim", args=[swim.pk]),
        }
        queue_mail(
            to=person.email,
            subject=_("Something new about a swim at %(clinic)s") % told,
            body=_(
                "There is something new about a swim at %(clinic)s, %(date)s.\n\n"
                "Read it beside the picture:\n%(link)s\n"
            )
            % told,
        )
