"""Whether a sheet takes sign-ups, who has a place, and who waits at which place."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass

from django.db.models import Count, OuterRef, QuerySet, Subquery
from django.db.models.functions import Coalesce
from django.utils import timezone

from clinics.models import Clinic, SignUp, SignUpSheet

State = SignUp.State
HAVE_A_PLACE = (State.SIGNED_UP, State.TAKEN_IN)
COUNT = (*HAVE_A_PLACE, State.WAITING)


def ends_at(clinic: Clinic) -> dt.datetime:
    """The end of the clinic's day: nobody signs up for what is over."""
    next_day = clinic.date + dt.timedelta(days=1)
    return dt.datetime.combine(next_day, dt.time(), tzinfo=clinic.zone)


def is_over(clinic: Clinic, now: dt.datetime | None = None) -> bool:
    return clinic.state == Clinic.State.CLOSED or (now or timezone.now()) >= ends_at(clinic)


def accepts(sheet: SignUpSheet, now: dt.datetime | None = None) -> bool:
    """Does the sheet take sign-ups, and changes of them, at this instant?"""
    now = now or timezone.now()
    closed_itself = sheet.closes_at is not None and now >= sheet.closes_at
    return sheet.is_open and not closed_itself and not is_over(sheet.clinic, now)


def locked(sheet: SignUpSheet) -> SignUpSheet:
    """Two who confirm at once: one after the other, so that the last place is given once."""
    rows = SignUpSheet.objects.select_for_update(of=("self",)).select_related("clinic__club")
    return rows.get(pk=sheet.pk)


def places_taken(by_state: Mapping[str, int]) -> int:
    return sum(by_state.get(state, 0) for state in HAVE_A_PLACE)


def free_places(sheet: SignUpSheet) -> int:
    taken = sheet.sign_ups.filter(state__in=HAVE_A_PLACE).count()
    return max(0, sheet.places - taken)


def place_on_waiting_list(sign_up: SignUp) -> int:
    """From 1; 0: this one does not wait."""
    if sign_up.state != State.WAITING or sign_up.confirmed_at is None:
        return 0
    waiting = SignUp.objects.filter(sheet_id=sign_up.sheet_id, state=State.WAITING)
    return 1 + waiting.filter(confirmed_at__lt=sign_up.confirmed_at).count()


def with_place(rows: QuerySet[SignUp]) -> QuerySet[SignUp]:
    """The same for many at once: `before` is how many wait before each."""
    waiting = SignUp.objects.filter(sheet=OuterRef("sheet"), state=State.WAITING)
    earlier = waiting.filter(confirmed_at__lt=OuterRef("confirmed_at")).order_by()
    counted = earlier.values("sheet").annotate(n=Count("pk")).values("n")
    return rows.annotate(before=Coalesce(Subquery(counted), 0))


@dataclass(frozen=True)
class Counts:
    """How many there are in each state."""

    places: int
    taken: int
    waiting: int
    to_confirm: int

    @property
    def free(self) -> int:
        return max(0, self.places - self.taken)


def counts_of(sheet: SignUpSheet) -> Counts:
    """One query."""
    rows = SignUp.objects.filter(sheet_id=sheet.pk).order_by().values_list("state")
    by_state = dict(rows.annotate(n=Count("pk")))
    waiting, to_confirm = by_state.get(State.WAITING, 0), by_state.get(State.TO_CONFIRM, 0)
    return Counts(sheet.places, places_taken(by_state), waiting, to_confirm)
