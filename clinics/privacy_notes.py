"""Who sees sign-ups, and what swimmers tell coaches: deny by default.

A sign-up that nobody has confirmed is seen by nobody. Once it counts, its name, address, stroke,
start and pace are for the club's admins and for the person. What coaches should look at, and
injuries, are for the coaches of this very clinic (who coach for its club today and did on its
day) and for the person; an admin, a checker or the crew do not see them. Nobody but the person
sees them once the person has no place any more, or wants to be erased. Injuries are out of
sight for everybody from the instant at which the clinic is closed, opened again or not. What is
held is not visible.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db.models import Exists, OuterRef, Q

from clinics.privacy_asks import Rows, coaches, not_held, signed_in, works_for
from portal.models import PersonRequest

if TYPE_CHECKING:
    from portal.models import User

INJURIES = "injuries"
HAS_A_PLACE = ("signed-up", "taken-in")


def sign_ups_listed_for(sign_ups: Rows, user: User) -> Rows:
    if not signed_in(user):
        return sign_ups.none()
    runs = works_for(user, "sheet__clinic__club_id", "admin")
    return sign_ups.filter(runs, confirmed_at__isnull=False)


def _own(user: User, sign_up: str = "") -> Q:
    """By the account, by the swimmer, or by the address: the mail that confirmed the sign-up and
    the one that lets the user in went to the same."""
    same_address = Q(**{f"{sign_up}email": user.email.lower()})
    counts = Q(**{f"{sign_up}confirmed_at__isnull": False})
    of_account = Q(**{f"{sign_up}user_id": user.pk})
    of_swimmer = Q(**{f"{sign_up}swimmer__user_id": user.pk})
    return counts & (of_account | of_swimmer | same_address)


def sign_ups_own_of(sign_ups: Rows, user: User) -> Rows:
    if not signed_in(user):
        return sign_ups.none()
    return sign_ups.filter(_own(user))


def _wants_erasure(swimmer_id: str) -> Exists:
    return Exists(
        PersonRequest.objects.filter(
            kind=PersonRequest.Kind.ERASE,
            state__in=[PersonRequest.State.WAITING, PersonRequest.State.RUNNING],
            subject_kind="clinics.Swimmer",
            subject_id=OuterRef(swimmer_id),
        )
    )


def notes_seen_by(notes: Rows, user: User) -> Rows:
    if not signed_in(user):
        return notes.none()
    closed = Q(kind=INJURIES, sign_up__sheet__clinic__closed_at__isnull=False)
    free = not_held(
        Clinic="sign_up__sheet__clinic_id", Swimmer="sign_up__swimmer_id", Entry="sign_up__entry_id"
    )
    by_coach = Q(coaches(user, "sign_up__sheet__clinic")) & Q(sign_up__state__in=HAS_A_PLACE)
    by_coach &= ~Q(_wants_erasure("sign_up__swimmer_id"))
    return notes.filter(by_coach | _own(user, "sign_up__")).filter(free).exclude(closed)
