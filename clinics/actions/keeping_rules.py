"""What a club decided about keeping: its rules, and changing them."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterable, Mapping
from dataclasses import fields
from typing import TYPE_CHECKING

from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from clinics.compute.keeping import Rules
from clinics.models import ClubRules, Swim
from portal.actions.audit import record
from portal.actions.jobs import enqueue
from portal.models import Club, Membership

if TYPE_CHECKING:
    from clinics.models import Clinic
    from portal.models import Job, User

DATE_KIND = "date-again"  # the job that works out a club's dates anew
NUMBERS = (*(field.name for field in fields(Rules)), "erase_after_days")
WORDS = ("controller_name", "controller_address")


class RulesRefused(Exception):
    """The rules contradict each other; the sentence says which."""


def rules_of_clubs(clubs: Iterable[uuid.UUID]) -> Callable[[uuid.UUID], Rules]:
    """The rules of these clubs, by id; one query. A club without a row has the defaults."""
    rows = {row.club_id: rules_in(row) for row in ClubRules.objects.filter(club__in=set(clubs))}
    return lambda club_id: rows.get(club_id, Rules())


def rules_of(club_id: uuid.UUID) -> Rules:
    return rules_of_clubs([club_id])(club_id)


def rules_in(row: ClubRules) -> Rules:
    return Rules(**{field.name: getattr(row, field.name) for field in fields(Rules)})


def row_of(club: Club) -> ClubRules:
    """The club's row; one with the defaults, not saved, where there is none."""
    return ClubRules.objects.filter(club=club).first() or ClubRules(club=club)


@transaction.atomic
def set_rules(*, club: Club, values: Mapping[str, int | str], by: User) -> ClubRules:
    """An admin changes the club's rules; all dates follow by a job. Saved as they are already,
    nothing happens. Raises RulesRefused."""
    admins = Membership.objects.current().filter(club=club, role=Membership.Role.ADMIN)
    if not admins.filter(user=by).exists():
        raise PermissionDenied("only an admin of the club changes its rules")
    Club.objects.select_for_update().get(pk=club.pk)
    row = row_of(club)
    before = {name: getattr(row, name) for name in (*NUMBERS, *WORDS)}
    after = before | {name: value for name, value in values.items() if name in before}
    _refuse_contradictions(after)
    if after == before and not row._state.adding:
        return row
    for name, value in after.items():
        setattr(row, name, value)
    row.updated_at, row.updated_by = timezone.now(), by
    row.save()
    numbers = {name: [before[name], after[name]] for name in NUMBERS if after[name] != before[name]}
    words = [name for name in WORDS if after[name] != before[name]]
    detail = {"numbers": numbers, "words": words}
    record(action="rules.change", by=by, subject=row, club=club, detail=detail)
    ask_to_date(club=club, by=by)
    return row


def _refuse_contradictions(values: Mapping[str, int | str]) -> None:
    if int(values["measures_months"]) < int(values["clips_at_most_months"]):
        raise RulesRefused(
            _(
                "What is said about a clip cannot go before the clip: give comments and measures "
                "at least as many months as clips."
            )
        )


def ask_to_date(*, club: Club, by: User | None) -> Job:
    """Something changed on which dates depend: work them out anew."""
    return enqueue(kind=DATE_KIND, subject=club, asked_by=by)


def clinic_changed(*, clinic: Clinic, by: User | None) -> None:
    """Its day, or who is entered, may have changed: so do the dates of what its swimmers have
    from other clinics."""
    swims = Swim.objects.filter(entry__swimmer__entries__clinic=clinic)
    if swims.exclude(entry__clinic=clinic).exists():
        ask_to_date(club=clinic.club, by=by)
