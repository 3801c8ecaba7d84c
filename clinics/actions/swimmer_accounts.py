"""Swimmers get their User the first time they prove that a roster's address is theirs.

An address on a roster may sign in. A couple shares one address: both swimmers then belong
to the one User, and their pages say whose swim is whose.
"""

from __future__ import annotations

from typing import Any

from clinics.models import Clinic, Duty, Swimmer
from portal.actions import audit
from portal.models import Club, User
from portal.registry import PeopleHooks


def address_on_roster(email: str) -> bool:
    """One query, whatever the answer: asking must not tell who is on a roster."""
    return Swimmer.objects.filter(email__iexact=email, user__isnull=True).exists()


def attach_swimmers(user: User) -> None:
    """Inside the transaction of the sign-in that proved the address."""
    free = Swimmer.objects.select_related("club").filter(
        email__iexact=user.email, user__isnull=True
    )
    attached = list(free)
    for swimmer in attached:
        swimmer.user = user
        swimmer.save(update_fields=["user"])
        audit.record(
            action="swimmer-attached",
            by=user,
            subject=swimmer,
            club=swimmer.club,
            detail={"user": str(user.pk)},
        )
    names = {swimmer.name for swimmer in attached}
    if not user.name and len(names) == 1:  # with two names nobody can tell who signs in
        user.name = names.pop()
        user.save(update_fields=["name"])


def is_checker(user: User) -> bool:
    """Checkers see what is not yet passed on, so they have a second factor."""
    return Duty.objects.filter(user=user, kind=Duty.Kind.CHECKER).exists()


def duties_in_words(user: User) -> list[Any]:
    """“checker”, while there is a clinic that this person may still check."""
    checks = Clinic.objects.checked_by(user).exclude(state=Clinic.State.CLOSED)
    return [Duty.Kind.CHECKER.label] if checks.exists() else []


def clubs_of_swimmer(user: User) -> list[Club]:
    return list(Club.objects.filter(swimmers__user=user).distinct().order_by("name"))


HOOKS = PeopleHooks(
    name="clinics",
    address_known=address_on_roster,
    signed_in=attach_swimmers,
    needs_second_factor=is_checker,
    clubs=clubs_of_swimmer,
    duties=duties_in_words,
)
