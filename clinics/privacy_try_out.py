"""Who sees a try-out of the day before, and the footage in it; deny by default.

Its page, with what was found and no picture: the club's admins, and whoever works at the clinic.
Its stills: of those the clinic's checkers, and the crew who brought the file; only until its time
is over, and only while each of its two swimmers who is on the club's list agrees to be filmed.
An admin who neither checks nor brought it sees none: admins see no footage. Its film itself is
shown to nobody.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db.models import Q

from clinics.privacy_asks import (
    Rows,
    agrees,
    has_duty,
    held_by_part,
    signed_in,
    works_for,
)

if TYPE_CHECKING:
    import datetime as dt

    from portal.models import User

SWIMMERS = ("first_swimmer", "second_swimmer")


def clinics_tried_out_by(clinics: Rows, user: User) -> Rows:
    """Admins also once the clinic is closed: what was found stays as long as its rows."""
    if not signed_in(user):
        return clinics.none()
    admin = Q(works_for(user, "club_id", "admin"))
    crew = Q(works_for(user, "club_id", "crew")) | Q(has_duty(user, "pk"))
    return clinics.filter(admin | (crew & ~Q(state="closed")))


def against(at: str = "") -> Q:
    """Of a try-out's swimmers on the club's list one does not agree, any more or at all."""
    found = Q(pk__in=[])
    for name in SWIMMERS:
        there = Q(**{f"{at}{name}__isnull": False})
        found |= there & ~agrees(f"{at}{name}_id")
    return found


def held(at: str = "") -> Q:
    swimmers = [held_by_part(Swimmer=f"{at}{name}_id") for name in SWIMMERS]
    found = held_by_part(Clinic=f"{at}clinic_id")
    for one in swimmers:
        found |= one
    return found


def files_seen_by(files: Rows, user: User, now: dt.datetime) -> Rows:
    """Whose stills the user may see."""
    if not signed_in(user):
        return files.none()
    club, clinic = "try_out__clinic__club_id", "try_out__clinic_id"
    mine = Q(brought_by_id=user.pk) & Q(works_for(user, club, "crew"))
    own = Q(has_duty(user, clinic, "checker")) | mine
    in_time = files.filter(try_out__gone_at__isnull=True, try_out__delete_by__gt=now)
    free = in_time.exclude(held("try_out__")).exclude(against("try_out__"))
    return free.exclude(try_out__clinic__state="closed").filter(own)
