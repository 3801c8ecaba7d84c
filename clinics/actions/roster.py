"""Take in a roster: whole or not at all; taking it again updates it.

An entry is known by its number within the clinic. A swimmer is known within the club by
the name and the e-mail address; an empty address in the file keeps the one that is known.
Whoever has swum, or stands in the start log, is never taken out.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.db import transaction
from django.utils import timezone

from clinics.actions.errors import BadInput
from clinics.actions.errors import say as _
from clinics.actions.keeping_rules import clinic_changed
from clinics.compute.roster_file import RosterRow, parse_roster
from clinics.models import Clinic, Entry, LaneGroup, Swimmer
from portal.actions.audit import record
from portal.models import User

if TYPE_CHECKING:
    from collections.abc import Iterable


@dataclass(frozen=True)
class RosterTaken:
    added: int
    changed: int
    removed: int


def email_ok(value: str) -> bool:
    try:
        validate_email(value)
    except ValidationError:
        return False
    return True


def take_in_roster(
    *, clinic: Clinic, text: str, by: User | None, source: str = "roster"
) -> RosterTaken:
    """Read a roster's text and put it in place. Raises BadInput with every bad row."""
    groups = list(clinic.lane_groups.values_list("name", flat=True))
    planned = groups if not clinic.entries.exists() or _groups_are_planned(clinic) else []
    rows = parse_roster(text, lane_groups=planned, email_ok=email_ok, source=source)
    return put_roster(clinic=clinic, rows=rows, by=by, source=source)


def _groups_are_planned(clinic: Clinic) -> bool:
    """Groups of the plan have orders from 1; those that a roster brought begin at 1001."""
    return not clinic.lane_groups.filter(order__gt=1000).exists()


@transaction.atomic
def put_roster(
    *, clinic: Clinic, rows: list[RosterRow], by: User | None, source: str
) -> RosterTaken:
    """Make the clinic's running order what the rows say."""
    _refuse_closed(clinic, source)
    groups = _lane_groups(clinic, rows)
    people = _Swimmers(clinic)
    entries = {entry.number: entry for entry in clinic.entries.select_related("swimmer")}
    wanted = {row.number: row for row in rows}
    keep = {
        number: people.known(entry.swimmer)
        for number, entry in entries.items()
        if number in wanted and same_name(entry.swimmer.name, wanted[number].name)
    }
    _take_out([entry for number, entry in entries.items() if number not in keep], source)
    order_of = {group.name: group.order for group in groups.values()}
    in_order = sorted(rows, key=lambda row: order_of[row.lane_group])
    changed = added = 0
    for order, row in enumerate(in_order, start=1):
        swimmer = keep.get(row.number) or people.find(row)
        people.update(swimmer, row)
        _entry, is_new = Entry.objects.update_or_create(
            clinic=clinic,
            number=row.number,
            defaults={
                "swimmer": swimmer,
                "lane_group": groups[row.lane_group],
                "order": order,
                "stroke": row.stroke,
                "pace_s_per_100m": row.pace_s_per_100m,
                "start": row.start,
            },
        )
        added, changed = added + is_new, changed + (not is_new)
    clinic.lane_groups.filter(order__gt=1000, entries__isnull=True).delete()
    taken = RosterTaken(added, changed, len(entries) - len(keep))
    record(
        action="roster.taken-in",
        by=by,
        subject=clinic,
        club=clinic.club,
        detail={"added": taken.added, "kept": taken.changed, "removed": taken.removed},
    )
    clinic_changed(clinic=clinic, by=by)
    return taken


def _refuse_closed(clinic: Clinic, source: str) -> None:
    if clinic.state == Clinic.State.CLOSED:
        told = _("this clinic is closed; its running order stays as it was.")
        raise BadInput([(source, told)])


def _lane_groups(clinic: Clinic, rows: list[RosterRow]) -> dict[str, LaneGroup]:
    """The plan's groups, and those that only the roster names, in the order they appear."""
    groups = {group.name: group for group in clinic.lane_groups.all()}
    last = max([1000, *(group.order for group in groups.values())])
    for row in rows:
        if row.lane_group not in groups:
            last += 1
            groups[row.lane_group] = LaneGroup.objects.create(
                clinic=clinic, name=row.lane_group, order=last
            )
    return groups


def has_history(entries: Iterable[Entry]) -> list[Entry]:
    """Entries that swam or stand in the start log: nothing may take them away."""
    return [entry for entry in entries if entry.swims.exists() or entry.start_log.exists()]


def _take_out(entries: list[Entry], source: str) -> None:
    errors = [
        (
            _("%(place)s, number %(number)s", place=source, number=entry.number),
            _(
                "%(name)s stands in the start log with this number, so it cannot be "
                "taken out or given to somebody else. Keep that row, and give a new swimmer "
                "another number.",
                name=entry.swimmer.name,
            ),
        )
        for entry in has_history(entries)
    ]
    if errors:
        raise BadInput(errors)
    Entry.objects.filter(pk__in=[entry.pk for entry in entries]).delete()


def same_name(one: str, other: str) -> bool:
    return one.casefold() == other.casefold()


class _Swimmers:
    """The club's swimmers; each is given out once per roster, so that two people of one
    name stay two."""

    def __init__(self, clinic: Clinic) -> None:
        self.clinic = clinic
        self.taken: set[object] = set()
        self.by_name: dict[str, list[Swimmer]] = {}
        for swimmer in Swimmer.objects.filter(club=clinic.club).order_by("created_at"):
            self.by_name.setdefault(swimmer.name.casefold(), []).append(swimmer)

    def known(self, swimmer: Swimmer) -> Swimmer:
        self.taken.add(swimmer.pk)
        return swimmer

    def find(self, row: RosterRow) -> Swimmer:
        free = [s for s in self.by_name.get(row.name.casefold(), []) if s.pk not in self.taken]
        exact = [s for s in free if s.email.lower() == row.email]
        one_side_empty = [s for s in free if not s.email or not row.email]
        candidates = exact or (one_side_empty if len(one_side_empty) == 1 else [])
        swimmer = candidates[0] if candidates else Swimmer(club=self.clinic.club)
        if swimmer._state.adding:
            swimmer.name = row.name
            swimmer.save()
        return self.known(swimmer)

    def update(self, swimmer: Swimmer, row: RosterRow) -> None:
        """Name and address as the file has them; the attestation is kept from when it came."""
        swimmer.name = row.name
        if row.email and row.email != swimmer.email.lower():
            swimmer.email = row.email
            swimmer.user = None
        if swimmer.email and swimmer.user_id is None:
            # Whoever never signed in has not proved the address; the sign-in attaches them.
            swimmer.user = User.objects.filter(
                email__iexact=swimmer.email, last_login__isnull=False
            ).first()
        swimmer.adult_attested_at = swimmer.adult_attested_at or timezone.now()
        swimmer.save()
