"""What erasing a swimmer deletes of what was said, drawn, marked and made of their swims.

Other people's words about the swimmer go with the swims; the swimmer's own words on somebody
else's swim are replaced, so that the answers to them still stand under something; and where
somebody's words elsewhere have the whole name in them, it is taken out.
"""

from __future__ import annotations

from typing import Any

from django.db import transaction
from django.db.models import Model, Q, QuerySet
from django.utils.translation import gettext_lazy as _

from clinics.actions.erase import forget, forget_about, take_off_disk
from clinics.models import Swim
from feedback.actions.rate_read import JOB_KIND as READING
from feedback.actions.take_along import JOB_KIND
from feedback.models import (
    BodyPoints,
    Comment,
    CommentVersion,
    Drawing,
    Feedback,
    FeedbackSent,
    LastLooked,
    LengthStrokes,
    Mark,
    Phrase,
    RateReading,
    TakeAlong,
    TakeHome,
    TakenSwim,
)
from portal.actions import files, redact
from portal.actions.erase_site import account_goes
from portal.actions.jobs import OPEN, cancel
from portal.models import Job, Membership
from portal.registry import Found, Person, PersonStep

# --- what was made to take along -----------------------------------------------------------------


def _take_along(person: Person) -> QuerySet[TakeAlong]:
    own = Q(swim__entry__swimmer=person.id) | Q(entry__swimmer=person.id)
    own |= Q(clips__swim__entry__swimmer=person.id)
    if account_goes(person):
        own |= Q(asked_by=person.user)
    return TakeAlong.objects.filter(own).distinct()


def find_take_along(person: Person) -> Found:
    rows = list(_take_along(person).select_related("stored"))
    return Found({"take-along": len(rows)}, tuple(row.stored for row in rows if row.stored))


def erase_take_along(person: Person) -> None:
    for row in _take_along(person).select_related("stored__club"):
        for job in Job.objects.filter(kind=JOB_KIND, subject_id=row.pk, state__in=OPEN):
            cancel(job=job, by=None)
        stored = [row.stored] if row.stored else []
        take_off_disk(stored)
        files.forget_work(f"take-along-{row.pk.hex}")
        with transaction.atomic():
            forget_about(TakeAlong._meta.label, [row.pk])
            row.delete()
            forget(stored)


# --- what was said -------------------------------------------------------------------------------

ABOUT_SWIMS: dict[str, type[Model]] = {
    "comments": Comment,
    "drawings": Drawing,
    "marks": Mark,
    "body-points": BodyPoints,
    "length-strokes": LengthStrokes,
    "feedback": Feedback,
    "feedback-sent": FeedbackSent,
    "taken": TakenSwim,
    "looked": LastLooked,
    "take-home": TakeHome,
    "rate-readings": RateReading,
}


def _words(person: Person) -> redact.Words:
    """What people write about others' swims at this club, and coaches' own phrases."""
    club = {"swim__entry__clinic__club": person.club}
    versions = CommentVersion.objects.filter(comment__swim__entry__clinic__club=person.club)
    members = Membership.objects.filter(club=person.club).values("user_id")
    return (
        (_of_others(Comment.objects.filter(**club), person), ("text",)),
        (_of_others(versions, person, "comment__"), ("text",)),
        (_of_others(Feedback.objects.filter(**club), person), ("one_thing", "points")),
        (_of_others(FeedbackSent.objects.filter(**club), person), ("one_thing", "points")),
        (Phrase.objects.filter(coach__in=members), ("text",)),
    )


def _of_others(rows: QuerySet[Any], person: Person, path: str = "") -> QuerySet[Any]:
    """What is about the person's own swims goes whole."""
    return rows.exclude(**{f"{path}swim__entry__swimmer": person.id})


def _about(model: type[Model], person: Person) -> QuerySet[Any]:
    """A page that was given to the person, too, whose swim turned out to be somebody else's."""
    own = Q(swim__entry__swimmer=person.id)
    if model is TakeHome:
        own |= Q(entry__swimmer=person.id)
    return model._default_manager.filter(own)


def _elsewhere(rows: type[Model], person: Person) -> QuerySet[Any]:
    """What the swimmer's account wrote on swims of others at this club."""
    if person.user is None:
        return rows._default_manager.none()
    theirs = Swim.objects.filter(entry__swimmer__user=person.user).values("pk")
    found = rows._default_manager.filter(author=person.user, swim__entry__clinic__club=person.club)
    coached = found.filter(swim__entry__clinic__club__memberships__user=person.user)
    found = found.exclude(pk__in=coached.values("pk"))  # a coach's words are the club's
    return found.exclude(swim__in=theirs).exclude(swim__entry__swimmer=person.id)


def find_said(person: Person) -> Found:
    rows = {sort: _about(model, person).count() for sort, model in ABOUT_SWIMS.items()}
    own = sum(_elsewhere(model, person).count() for model in (Comment, Drawing))
    naming = sum(1 for _row in redact.rows_naming(_words(person), person.name))
    return Found({**rows, "own-words": own, "naming": naming})


def _stop_reading(person: Person) -> None:
    """What reads from the person's pictures just now ends, and no job stays that knows of it."""
    ids = list(_about(RateReading, person).values_list("pk", flat=True))
    for job in Job.objects.filter(kind=READING, subject_id__in=ids, state__in=OPEN):
        cancel(job=job, by=None)
    forget_about(RateReading._meta.label, ids)


def erase_said(person: Person) -> None:
    _stop_reading(person)
    for model in ABOUT_SWIMS.values():
        _about(model, person).delete()
    with transaction.atomic():
        _elsewhere(Drawing, person).delete()
        words = _elsewhere(Comment, person)
        CommentVersion.objects.filter(comment__in=words).delete()
        words.update(text=redact.ERASED, author=None)
        redact.take_out(_words(person), person.name)


STEPS = (
    PersonStep(
        name="take-along",
        order=20,
        find=find_take_along,
        run=erase_take_along,
        labels={"take-along": _("stills and films to take along")},
    ),
    PersonStep(
        name="said",
        order=30,
        find=find_said,
        run=erase_said,
        labels={
            "comments": _("comments on your swims, yours and other people’s"),
            "drawings": _("drawings on your swims"),
            "marks": _("marks, and the measures made from them"),
            "body-points": _("points of your body on frames, and the angles made from them"),
            "length-strokes": _("which strokes the lengths of your medleys were"),
            "feedback": _("feedback being written for you"),
            "feedback-sent": _("feedback sent to you"),
            "taken": _("swims of yours that a coach has in hand"),
            "looked": _("notes of when somebody last looked"),
            "take-home": _("your take-home pages"),
            "rate-readings": _("stroke rates read from pictures of your swims"),
            "own-words": _("your words on other people’s swims: replaced by “[erased]”"),
            "naming": _("other people’s words elsewhere that name you: your name is taken out"),
        },
    ),
)
