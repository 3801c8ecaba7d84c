"""The rows of the club's list of sign-ups."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import Exists, OuterRef
from django.utils.translation import gettext as _

from clinics.actions.sign_up_state import State
from clinics.compute.pace import as_time
from clinics.models import Consent, SignUp, SignUpSheet
from clinics.privacy import FILM_AND_REVIEW

ORDER = (State.SIGNED_UP, State.TAKEN_IN, State.WAITING, State.WITHDRAWN, State.DECLINED)


@dataclass(frozen=True)
class Line:
    """One sign-up. `place` on the waiting list, from 1; 0: does not wait. `films`: None: nobody
    has asked."""

    row: SignUp
    place: int
    films: bool | None

    @property
    def pace(self) -> str:
        return as_time(self.row.pace_s_per_100m)

    @property
    def to_take_in(self) -> bool:
        """Has a place, and is not in the running order; or was taken out of it by a roster."""
        taken_out = self.row.state == State.TAKEN_IN and self.row.entry_id is None
        return self.row.state == State.SIGNED_UP or taken_out

    @property
    def still_entered(self) -> bool:
        """Withdrew, and a person has not changed the running order yet."""
        return self.row.state == State.WITHDRAWN and self.row.entry_id is not None

    @property
    def comes(self) -> bool:
        return self.row.state not in (State.WITHDRAWN, State.DECLINED)

    @property
    def filmed_in_words(self) -> str:
        if not self.comes:
            return ""
        if self.films is None:
            return _("not asked yet")
        return _("agrees") if self.films else _("does not agree")


def lines_of(sheet: SignUpSheet) -> list[Line]:
    """Who has a place by time, then who waits, then who does not come. Not who has not confirmed:
    nobody knows yet whether it was they. One query."""
    in_force = Consent.objects.filter(
        swimmer_id=OuterRef("swimmer_id"), purpose=FILM_AND_REVIEW, ended_at__isnull=True
    )
    rows = SignUp.objects.filter(sheet_id=sheet.pk, confirmed_at__isnull=False)
    rows = rows.select_related("entry__lane_group").annotate(in_force=Exists(in_force))
    order = {state: place for place, state in enumerate(ORDER)}
    listed = sorted(
        rows.order_by("confirmed_at", "pk"), key=lambda row: max(1, order[State(row.state)])
    )
    waiting = [row.pk for row in listed if row.state == State.WAITING]
    places = {pk: place for place, pk in enumerate(waiting, start=1)}
    return [Line(row, places.get(row.pk, 0), _films(row)) for row in listed]


def _films(row: SignUp) -> bool | None:
    """Once there is a swimmer in the running order: what is in force. Before: what was said."""
    in_force: bool = row.in_force  # type: ignore[attr-defined]
    said = row.answers.get(FILM_AND_REVIEW)
    if row.entry_id is not None or said is None:
        return True if in_force else (False if said is not None else None)
    return bool(said["agrees"])
