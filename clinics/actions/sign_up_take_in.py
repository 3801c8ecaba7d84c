"""From a sign-up to an entry: who the swimmer is, which number, which lane group, which place in
the running order; and the consents that were given come into force.

A swimmer is known by the account, or by name and address together, as in a roster. A name alone
is nobody: whoever signs up under somebody's name with another address would see their swims. So
where the club knows a namesake, an admin says whether it is the same person.
"""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from django.db import transaction
from django.db.models import Q

from clinics.actions.consent import ConsentRefused
from clinics.actions.errors import BadInput
from clinics.actions.errors import say as _
from clinics.actions.keeping_rules import clinic_changed
from clinics.actions.sign_up_answers import put_in_force
from clinics.actions.sign_up_mail import tell_taken_in
from clinics.actions.sign_up_order import put_in_order, swimmer_groups
from clinics.actions.sign_up_state import State, locked
from clinics.compute.rotation import Goer
from clinics.compute.sign_up_groups import propose_groups
from clinics.models import Clinic, Entry, SignUp, SignUpSheet, Swimmer
from portal.actions.audit import record
from portal.models import User

if TYPE_CHECKING:
    from django.db.models import QuerySet

MOST_NUMBER = 99_999
Errors = list[tuple[str, str]]


def to_take_in(clinic: Clinic) -> QuerySet[SignUp]:
    """Who has a place and is not in the running order; or was, and a roster took them out."""
    taken_out = Q(state=State.TAKEN_IN, entry__isnull=True)
    rows = SignUp.objects.filter(Q(state=State.SIGNED_UP) | taken_out, sheet__clinic=clinic)
    return rows.select_related("swimmer__club", "user").order_by("confirmed_at", "pk")


# --- proposals -----------------------------------------------------------------------------------


@dataclass(frozen=True)
class Candidate:
    """What is proposed for one sign-up, in the order in which they would swim."""

    sign_up: SignUp
    number: int
    group: str
    known: Swimmer | None = None
    namesakes: list[Swimmer] = field(default_factory=list)


def candidates(clinic: Clinic, *, groups: int = 0) -> list[Candidate]:
    """`groups`: into how many even groups, instead of those that are there. Four queries."""
    rows = list(to_take_in(clinic))
    entries = list(clinic.entries.select_related("lane_group"))
    names = list(clinic.lane_groups.order_by("order").values_list("name", flat=True))
    proposals = propose_groups(
        [Goer(row.pk, "", row.pace_s_per_100m) for row in rows],
        [Goer(one.pk, one.lane_group.name, one.pace_s_per_100m) for one in entries],
        names[:groups] if groups else names,
        count=groups,
    )
    people = _People(clinic)
    by_pk = {row.pk: row for row in rows}
    number = max([0, *(entry.number for entry in entries)])
    found = []
    for step, proposal in enumerate(proposals, start=1):
        row = by_pk[uuid.UUID(str(proposal.key))]
        known = people.known(row)
        others = [one for one in people.called(row.name) if one != known] if not known else []
        found.append(Candidate(row, number + step, proposal.group, known, others))
    return found


class _People:
    """The club's swimmers, by name. One query."""

    def __init__(self, clinic: Clinic) -> None:
        self.by_name: dict[str, list[Swimmer]] = {}
        for swimmer in Swimmer.objects.filter(club=clinic.club).order_by("created_at"):
            self.by_name.setdefault(swimmer.name.casefold(), []).append(swimmer)

    def called(self, name: str) -> list[Swimmer]:
        return self.by_name.get(name.casefold(), [])

    def known(self, row: SignUp) -> Swimmer | None:
        if row.swimmer is not None:
            return row.swimmer
        same = [one for one in self.called(row.name) if one.email.lower() == row.email]
        return same[0] if same and row.email else None


# --- taking in -----------------------------------------------------------------------------------


@dataclass(frozen=True)
class Line:
    """What an admin decided for one sign-up. `swimmer`: a namesake who is the same person."""

    sign_up: uuid.UUID
    number: int
    group: str
    swimmer: uuid.UUID | None = None


@transaction.atomic
def take_in(*, clinic: Clinic, lines: Sequence[Line], by: User) -> list[Entry]:
    """All of them or none. BadInput names whatever is wrong. Each is told by mail."""
    clinic = Clinic.objects.select_for_update(of=("self",)).select_related("club").get(pk=clinic.pk)
    if clinic.state == Clinic.State.CLOSED:
        raise BadInput([("", _("This clinic is closed; its running order stays as it was."))])
    if not lines:
        return []
    sheet = locked(SignUpSheet.objects.get(clinic=clinic))
    rows = {row.pk: row for row in to_take_in(clinic).select_for_update(of=("self",))}
    for row in rows.values():
        row.sheet = sheet
    lines = [line for line in lines if line.sign_up in rows]
    people, errors = _People(clinic), Errors()
    swimmers = {line.sign_up: _swimmer(rows[line.sign_up], line, people) for line in lines}
    there = {entry.swimmer_id: entry for entry in clinic.entries.select_related("lane_group")}
    _check(lines, rows, swimmers, there, errors)
    if errors:
        raise BadInput(errors)
    groups = swimmer_groups(
        clinic, [(line.group, rows[line.sign_up].pace_s_per_100m) for line in lines]
    )
    entries = []
    for line in lines:
        row, swimmer = rows[line.sign_up], swimmers[line.sign_up]
        _save_swimmer(swimmer, row)
        entry = there.get(swimmer.pk) or Entry(clinic=clinic, swimmer=swimmer, order=0)
        if entry._state.adding:
            entry.number, entry.lane_group = line.number, groups[line.group]
        _say(entry, row)
        entries.append(entry)
        _link(row, swimmer, entry)
    put_in_order(clinic)
    told = {"entries": [str(entry.pk) for entry in entries]}
    record(action="sign-up.take-in", by=by, subject=clinic, club=clinic.club, detail=told)
    clinic_changed(clinic=clinic, by=by)
    return entries


def _swimmer(row: SignUp, line: Line, people: _People) -> Swimmer:
    known = people.known(row)
    if known is None and line.swimmer is not None:
        known = next((one for one in people.called(row.name) if one.pk == line.swimmer), None)
    return known or Swimmer(club=row.sheet.clinic.club, name=row.name)


def _check(
    lines: Sequence[Line],
    rows: dict[uuid.UUID, SignUp],
    swimmers: dict[uuid.UUID, Swimmer],
    there: dict[uuid.UUID, Entry],
    errors: Errors,
) -> None:
    taken = {entry.number: entry.swimmer_id for entry in there.values()}
    seen_numbers, seen_swimmers = set[int](), set[uuid.UUID]()
    for line in lines:
        name, swimmer = rows[line.sign_up].name, swimmers[line.sign_up]
        if swimmer.pk in seen_swimmers:
            errors.append((name, _("is there twice. Take in one of the two.")))
        seen_swimmers.add(swimmer.pk)
        if swimmer.pk in there:
            continue  # keeps the number and the group that a person gave
        if not 1 <= line.number <= MOST_NUMBER:
            errors.append((name, _("needs a number from 1 to 99999.")))
        elif line.number in taken or line.number in seen_numbers:
            told = _("number %(number)s is taken. Give another one.", number=line.number)
            errors.append((name, told))
        seen_numbers.add(line.number)
        if not line.group or len(line.group) > 40:
            errors.append((name, _("needs a lane group, of at most 40 characters.")))


def _save_swimmer(swimmer: Swimmer, row: SignUp) -> None:
    """A known address stays as it is: it lets somebody in. Whoever never signed in has not
    proved theirs; the sign-in attaches them."""
    if not swimmer.email:
        swimmer.email = row.email
    if swimmer.user_id is None and swimmer.email and swimmer.email.lower() == row.email:
        proved = User.objects.filter(email__iexact=row.email, last_login__isnull=False)
        swimmer.user = row.user if row.user_id else proved.first()
    swimmer.adult_attested_at = swimmer.adult_attested_at or row.adult_attested_at
    swimmer.save()


def _say(entry: Entry, row: SignUp) -> None:
    """As the swimmer says; but what was swum stays what it was."""
    if entry._state.adding or not (entry.swims.exists() or entry.start_log.exists()):
        entry.stroke, entry.start = row.stroke, row.start
        entry.pace_s_per_100m = row.pace_s_per_100m
    entry.save()


def _link(row: SignUp, swimmer: Swimmer, entry: Entry) -> None:
    """Who withdrew, and signed up again, stood in the running order by another sign-up."""
    SignUp.objects.filter(entry=entry).exclude(pk=row.pk).update(entry=None)
    row.swimmer, row.entry, row.state = swimmer, entry, State.TAKEN_IN
    row.save(update_fields=["swimmer", "entry", "state"])
    try:
        put_in_force(row)
    except ConsentRefused as refusal:
        raise BadInput([(row.name, str(refusal))]) from None
    tell_taken_in(row, number=entry.number)
