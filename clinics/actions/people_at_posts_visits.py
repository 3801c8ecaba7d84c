"""Visitors: people who work for the club only around one clinic, with a membership that ends by
itself (`Membership.objects.current` goes by the day, at each request).

How long a visit lasts is our choice. Crew bring in and check until the clinic is closed, and have
nothing to do after that. A coach answers what is passed on last, and what swimmers ask back, and
so stays two weeks longer. An admin may choose another day.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass

from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.db.models import Q
from django.utils import timezone

from clinics.actions.consent_names import names_for, names_somebody_new
from clinics.actions.errors import BadInput
from clinics.actions.errors import say as _
from clinics.actions.tasks import closing_day
from clinics.models import Clinic, Consent
from clinics.privacy import FILM_AND_REVIEW
from portal.actions.audit import record
from portal.actions.people import NotPossible, invite
from portal.models import AuditEntry, Membership, User

ANSWERS_DAYS = 14  # a coach, after the clinic is expected to be closed
LONGEST_DAYS = 365  # after the clinic: who works longer for the club is no visitor
VISITS_AS = (Membership.Role.COACH, Membership.Role.CREW)
ENDED = "membership-ended"
BEGUN = ("person-invited", "membership.from-plan", "membership.until")


@dataclass(frozen=True)
class Visit:
    """A membership with an end that covers the clinic's day, or would but for its dates."""

    membership: Membership
    covers_day: bool

    @property
    def user(self) -> User:
        return self.membership.user


def usual_end(clinic: Clinic, role: str) -> dt.date:
    """The last day of a visit if nobody chooses another. One query."""
    days = ANSWERS_DAYS if role == Membership.Role.COACH else 0
    return max(closing_day(clinic) + dt.timedelta(days=days), clinic.date)


def day_of_work(clinic: Clinic) -> dt.date:
    """The day on which whoever takes a post must work for the club: the clinic's, or today if
    that is over."""
    return max(clinic.date, timezone.now().date())


def on_that_day(day: dt.date) -> Q:
    """Of memberships: begun by then and not ended."""
    return Q(from_date__lte=day) & (Q(until_date__isnull=True) | Q(until_date__gte=day))


def visits_of(clinic: Clinic, also: Iterable[User]) -> list[Visit]:
    """Whose membership has an end on or after the clinic's day; and those of `also`, who stand at
    a post here, whatever their dates. One query."""
    day = clinic.date
    rows = clinic.club.memberships.filter(until_date__isnull=False).filter(
        on_that_day(day) | Q(user__in=[user.pk for user in also])
    )
    rows = rows.select_related("user").order_by("user__name", "user__email", "role")
    return [
        Visit(row, row.from_date <= day and row.until_date is not None and row.until_date >= day)
        for row in rows
    ]


@transaction.atomic
def invite_visitor(
    *,
    clinic: Clinic,
    email: str,
    name: str,
    role: str,
    by: User,
    until: dt.date | None = None,
) -> Membership:
    """Somebody who works for the club around this clinic; told by mail how to sign in. Who works
    for it that long already, or without an end, stays as they are and gets no mail.

    BadInput: a last day that cannot be meant, an account that is closed.
    """
    require_admin(clinic, by)
    if role not in VISITS_AS:
        raise BadInput([("", _("A visitor is a coach or crew."))])
    until = until or usual_end(clinic, role)
    _refuse_day(clinic, until)
    had = clinic.club.memberships.filter(user__email__iexact=email.strip(), role=role).first()
    if had is not None and _lasts(had, clinic, until):
        return had
    try:
        return invite(
            club=clinic.club,
            email=email,
            name=name,
            role=role,
            by=by,
            from_date=_begin(had),
            until_date=_end(had, until),
        )
    except NotPossible as reason:
        raise BadInput([("", str(reason))]) from None


def _lasts(had: Membership, clinic: Clinic, until: dt.date) -> bool:
    begun = had.from_date <= clinic.date
    return begun and (had.until_date is None or had.until_date >= until)


def _is_over(had: Membership) -> bool:
    return had.until_date is not None and had.until_date < timezone.now().date()


def _begin(had: Membership | None) -> dt.date:
    """Today, also where a visit was over: what was filmed meanwhile stays out of sight. One that
    goes on keeps its first day."""
    today = timezone.now().date()
    return today if had is None or _is_over(had) else min(had.from_date, today)


def _end(had: Membership | None, until: dt.date) -> dt.date | None:
    """Nobody's time gets shorter by being invited."""
    if had is None or _is_over(had):
        return until
    return None if had.until_date is None else max(had.until_date, until)


@transaction.atomic
def stay_until(*, clinic: Clinic, membership: Membership, until: dt.date, by: User) -> Membership:
    """Another last day for a visitor; from today on, since the past cannot be changed."""
    require_admin(clinic, by)
    _refuse_day(clinic, until)
    row = Membership.objects.select_for_update().get(pk=membership.pk)
    if row.club_id != clinic.club_id or row.until_date is None:
        raise PermissionDenied("no visitor of this club")
    if ended_by_an_admin(row):
        told = _("This membership was ended by an admin. Invite %(who)s anew.", who=str(row.user))
        raise BadInput([("", told)])
    if row.until_date == until:
        return row
    if _is_over(row):
        row.from_date = timezone.now().date()
    if until < row.from_date:
        raise BadInput([("", _("The last day lies before the first. Change one of them."))])
    row.until_date = until
    row.save(update_fields=["from_date", "until_date"])
    detail = {"user": str(row.user_id), "role": row.role, "until": until}
    record(action="membership.until", by=by, subject=row, club=clinic.club, detail=detail)
    return row


def _refuse_day(clinic: Clinic, until: dt.date) -> None:
    if Clinic.objects.filter(pk=clinic.pk, state=Clinic.State.CLOSED).exists():
        raise BadInput([("", _("The clinic is closed; nobody is invited to it any more."))])
    first, last = day_of_work(clinic), clinic.date + dt.timedelta(days=LONGEST_DAYS)
    if not first <= until <= last:
        told = _(
            "The last day of a visit lies between %(first)s and %(last)s.",
            first=first,
            last=last,
        )
        raise BadInput([("", told)])


def asked_again(clinic: Clinic) -> int:
    """How many agree to be filmed by a text in which somebody was not named who is named now: a
    checker, a visitor. Four queries."""
    agreed = Consent.objects.filter(
        swimmer__entries__clinic=clinic, purpose=FILM_AND_REVIEW, ended_at__isnull=True
    )
    shown = list(agreed.exclude(names={}).values_list("names", flat=True))
    now = names_for(clinic.club, clinic)
    return sum(names_somebody_new(names, now) for names in shown)


def require_admin(clinic: Clinic, by: User) -> None:
    if not Clinic.objects.run_by(by).filter(pk=clinic.pk).exists():
        raise PermissionDenied("not an admin of this club")


def ended_by_an_admin(membership: Membership) -> bool:
    """Not by itself: the last thing done to its dates is that somebody ended it. One query."""
    rows = AuditEntry.objects.filter(
        subject_kind=Membership._meta.label,
        subject_id=str(membership.pk),
        action__in=(ENDED, *BEGUN),
    )
    return rows.order_by("-seq").values_list("action", flat=True).first() == ENDED
