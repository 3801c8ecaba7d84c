"""Mail when something was said: that there is something new, and where. Never what, nor who.

What is new gathers for ten minutes. Then a person gets one mail with a link to each of their
swims that has something new, and not one for each sentence or swim. `told_at` of a comment,
of sent feedback or of a take-home page says that its mail is written, or that none is due.
"""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterable
from datetime import timedelta

from django.db.models import Q
from django.utils import timezone

from clinics.models import Swim
from feedback.actions.news import News, news_of
from feedback.actions.tell_mail import write_digest
from feedback.models import Comment, FeedbackSent, TakeHome
from portal.actions.job_runs import published_with_job
from portal.actions.jobs import enqueue
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


def tell_what_is_new(*, swim: Swim) -> list[User]:
    """Write to each person who is to know what is new on this swim, of all their swims at once;
    the people told.

    May run twice, and for two swims at once: each thing is told of once. Whoever may not see a
    swim now, or has looked since, is not told of it. What was said before the swim was given
    went with it.
    """
    with published_with_job():
        told = _gather(swim)
        by_person: dict[User, list[Swim]] = {}
        for news in told:
            for person in news.people:
                by_person.setdefault(person, []).append(news.swim)
        for person, swims in by_person.items():
            write_digest(person, sorted(swims, key=lambda one: (one.start_at, one.pk)))
        _note_told(told)
    return list(by_person)


def _gather(swim: Swim) -> list[News]:
    """What is new on the swim, and on all others of everybody who is told. A thing is told of
    once, so whoever else is to know of it is told in the same run, with what else is theirs."""
    known = {swim.pk: news_of(swim.pk)}
    told, waiting = [], [known[swim.pk]]
    while waiting:
        news = waiting.pop()
        if news in told:
            continue
        told.append(news)
        for person in news.people:
            for pk in _swims_with_news_for(person):
                other = known[pk] = known.get(pk) or news_of(pk)
                if person in other.people:
                    waiting.append(other)
    return told


def _swims_with_news_for(person: User) -> list[uuid.UUID]:
    """Swims on which something may be new for the person: their own, and those they coach."""
    unsaid = Q(told_at__isnull=True, sent_at__isnull=False)
    said = Comment.objects.filter(unsaid).exclude(author=person).values("swim")
    sent = FeedbackSent.objects.filter(unsaid).exclude(sent_by=person).values("swim")
    page = Q(take_home__told_at__isnull=True, take_home__given_at__isnull=False)
    seen = Swim.objects.reviewed_by(person)
    return list(seen.filter(Q(pk__in=said) | Q(pk__in=sent) | page).values_list("pk", flat=True))


def _note_told(told: Iterable[News]) -> None:
    now = timezone.now()
    comments = [comment.pk for news in told for comment in news.comments]
    feedback = [sent.pk for news in told for sent in news.feedback]
    Comment.objects.filter(pk__in=comments).update(told_at=now)
    FeedbackSent.objects.filter(pk__in=feedback).update(told_at=now)
    pages = [page.pk for news in told for page in news.pages]
    TakeHome.objects.filter(pk__in=pages).update(told_at=now)
