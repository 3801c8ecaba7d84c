"""What people ask of a club about their data: asked, answered within a month, taken back."""

from __future__ import annotations

import calendar
import datetime as dt
import uuid
from typing import TYPE_CHECKING

from django.conf import settings
from django.db import transaction
from django.urls import reverse
from django.utils import timezone, translation
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from portal.actions import audit, ledger
from portal.actions.mail import queue_mail
from portal.models import Club, Membership, PersonRequest, User
from portal.registry import Person, person_sources

if TYPE_CHECKING:
    from collections.abc import Iterable

State = PersonRequest.State


class NotPossible(Exception):
    """A sentence for the person who asked."""


def a_month_after(at: dt.datetime) -> dt.datetime:
    """The same day of the next month, or its last day (GDPR 12(3): within one month).

    >>> a_month_after(dt.datetime(2027, 1, 31)).date()
    datetime.date(2027, 2, 28)
    """
    year, month = (at.year + 1, 1) if at.month == 12 else (at.year, at.month + 1)
    return at.replace(year=year, month=month, day=min(at.day, calendar.monthrange(year, month)[1]))


def person_of(kind: str, pk: uuid.UUID) -> Person | None:
    """The person whom a request is about, or None: the row is gone."""
    source = next((source for source in person_sources.all() if source.name == kind), None)
    return source.find(pk) if source is not None else None


def persons_of(user: User) -> list[Person]:
    return [person for source in person_sources.all() for person in source.of_user(user)]


def named(requests: Iterable[PersonRequest]) -> dict[uuid.UUID, str]:
    """What each request is about, in words for the club's admins, by the subject's id."""
    about = [(request.subject_kind, request.subject_id) for request in requests]
    words: dict[uuid.UUID, str] = {}
    for source in person_sources.all():
        words |= source.named(about)
    return words


def people_of(club: Club) -> dict[uuid.UUID, tuple[str, str]]:
    """Those of the club who can ask: the kind of their row, and their name."""
    return {
        pk: (source.name, name)
        for source in person_sources.all()
        for pk, name in source.of_club(club)
    }


@transaction.atomic
def make_request(
    *,
    kind: str,
    club: Club,
    user: User | None,
    by: User,
    subject_kind: str,
    subject_id: uuid.UUID,
    words: str = "",
    state: str = State.OPEN,
    act_at: dt.datetime | None = None,
) -> PersonRequest:
    """Ask the club. What is open already is not asked a second time. `user` is whose wish it is;
    `by` may also be an admin who notes a wish that came by letter or word of mouth."""
    Club.objects.select_for_update().get(pk=club.pk)
    about = {"kind": kind, "subject_kind": subject_kind, "subject_id": subject_id}
    known = PersonRequest.objects.open().filter(**about).first()
    if known is not None and kind != PersonRequest.Kind.OTHER:
        return known
    now = timezone.now()
    row = PersonRequest.objects.create(
        **about,
        club=club,
        user=user,
        words=words.strip(),
        state=state,
        made_at=now,
        due_at=a_month_after(now),
        act_at=act_at,
    )
    _note("request.make", row, by)
    if state in (State.OPEN, State.WAITING):
        _tell_admins(row)
    return row


@transaction.atomic
def answer(
    *,
    request: PersonRequest,
    by: User,
    granted: bool,
    words: str,
) -> PersonRequest:
    """An admin answers in words. Yes to an erasure leaves it to its day."""
    row = _locked(request)
    if row.state not in (State.OPEN, State.WAITING):
        raise NotPossible(_("This request is answered already, or was taken back."))
    if not words.strip():
        raise NotPossible(_("Say in a sentence or two what you did, or why you cannot."))
    if row.state == State.OPEN or not granted:
        row.state = State.DONE if granted else State.REFUSED
    row.answer, row.answered_at, row.answered_by = words.strip(), timezone.now(), by
    row.save(update_fields=["state", "answer", "answered_at", "answered_by"])
    if granted:
        for source in person_sources.all():
            source.answered(row)
    if not granted:
        _erasure_is_off(row)
    _note("request.answer", row, by)
    if row.user is not None:
        _tell_person(row)
    return row


@transaction.atomic
def take_back(*, request: PersonRequest, by: User) -> PersonRequest:
    """The person thinks better of it. An erasure can be taken back until its day has come."""
    row = _locked(request)
    begun = row.act_at is not None and row.act_at <= timezone.now()
    if row.state not in (State.OPEN, State.WAITING) or begun:
        raise NotPossible(_("This can no longer be taken back: it is done, or being done."))
    row.state = State.TAKEN_BACK
    row.answered_at = timezone.now()
    row.save(update_fields=["state", "answered_at"])
    _erasure_is_off(row)
    _note("request.take-back", row, by)
    return row


def _erasure_is_off(row: PersonRequest) -> None:
    """A restore must not begin anew what was taken back or refused since."""
    if row.kind == PersonRequest.Kind.ERASE:
        ledger.note_withdrawn(row.subject_kind, row.subject_id, ledger.WANTS_NO_ERASURE)


def _locked(request: PersonRequest) -> PersonRequest:
    rows = PersonRequest.objects.select_for_update(of=("self",)).select_related("club", "user")
    return rows.get(pk=request.pk)


def _note(action: str, row: PersonRequest, by: User | None) -> None:
    audit.record(
        action=action,
        by=by,
        subject=row,
        club=row.club,
        detail={
            "kind": row.kind,
            "state": row.state,
            "about": [row.subject_kind, str(row.subject_id)],
        },
    )


def _tell_admins(row: PersonRequest) -> None:
    """That something waits, and until when; not what, nor from whom: mail lies about."""
    admins = Membership.objects.current().filter(club=row.club, role=Membership.Role.ADMIN)
    place = settings.SITE_URL.rstrip("/") + reverse("portal:requests", args=[row.club.slug])
    for membership in admins.select_related("user"):
        with translation.override(membership.user.language):
            day = date_format(row.due_at, "DATE_FORMAT")
            queue_mail(
                to=membership.user.email,
                subject=_("Somebody asks about their data"),
                body=_(
                    "A swimmer of %(club)s asks about their data. It is to be answered by "
                    "%(day)s.\n\n%(place)s\n"
                )
                % {"club": row.club.name, "day": day, "place": place},
            )


def _tell_person(row: PersonRequest) -> None:
    assert row.user is not None
    with translation.override(row.user.language):
        queue_mail(
            to=row.user.email,
            subject=_("%(club)s has answered your request") % {"club": row.club.name},
            body=_("Sign in to read the answer:\n\n%(place)s\n")
            % {"place": settings.SITE_URL.rstrip("/") + reverse("clinics:my-data")},
        )
