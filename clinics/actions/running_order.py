"""Who goes in which lane group, and in which order: an admin moves people and groups.

An arrangement is the whole of it: the groups' names in the order in which they come, each with
its swimmers' numbers in theirs. Whoever has swum keeps their group, and their place among those
of it who have; so do the groups in which somebody has. Who was only called late, passed over or
a no-show may be moved: that is when it is wanted.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence

from django.db import transaction
from django.db.models import Q

from clinics.actions.errors import BadInput
from clinics.actions.errors import say as _
from clinics.compute.checks import Errors, raise_if_any
from clinics.models import Clinic, Entry, LaneGroup
from portal.actions.audit import record
from portal.models import User

Arrangement = list[tuple[str, list[int]]]
NAME_CHARS = 40


def arrangement_of(clinic: Clinic) -> Arrangement:
    """Groups without swimmers, too. Two queries."""
    found: dict[str, list[int]] = {name: [] for name in _group_names(clinic)}
    in_order = clinic.entries.order_by("order", "number")
    for group, number in in_order.values_list("lane_group__name", "number"):
        found[group].append(number)
    return list(found.items())


def _group_names(clinic: Clinic) -> list[str]:
    groups = clinic.lane_groups.order_by("order", "name")
    return list(groups.values_list("name", flat=True))


def have_swum(clinic: Clinic) -> set[int]:
    """Numbers of who was away, filmed or not. One query."""
    not_filmed = Q(start_log__outcome="not-filmed", start_log__undone_at__isnull=True)
    went = clinic.entries.filter(Q(swims__isnull=False) | not_filmed)
    return set(went.values_list("number", flat=True))


# --- changes of an arrangement ----------------------------------------------------------------


def step_swimmer(order: Arrangement, number: int, places: int) -> Arrangement:
    """So many places later (negative: earlier) in the same group, at most to its end."""
    group = group_of(order, number)
    its = dict(order)[group]
    place = min(max(its.index(number) + places, 0), len(its) - 1)
    return move_swimmer(order, number, group, place + 1)


def move_swimmer(
    order: Arrangement, number: int, group: str, place: int | None = None
) -> Arrangement:
    """To a group, which is made at the end if it is new, and a place from 1 in it (beyond its
    end, or None: last)."""
    group_of(order, number)  # says so if there is no such number
    moved = [(name, [one for one in its if one != number]) for name, its in order]
    if group not in dict(moved):
        moved.append((group, []))
    its = dict(moved)[group]
    its.insert(len(its) if place is None else max(place, 1) - 1, number)
    return moved


def step_group(order: Arrangement, group: str, places: int) -> Arrangement:
    names = [name for name, _its in order]
    if group not in names:
        told = _("is no group of this clinic.")
        raise BadInput([(_("group “%(name)s”", name=group), told)])
    at = names.index(group)
    moved = [*order[:at], *order[at + 1 :]]
    moved.insert(min(max(at + places, 0), len(moved)), order[at])
    return moved


def group_of(order: Arrangement, number: int) -> str:
    for name, its in order:
        if number in its:
            return name
    told = _("is not in the running order.")
    raise BadInput([(_("number %(number)s", number=number), told)])


def next_group_name(names: Collection[str]) -> str:
    """The next letter or number, where the groups have such names.

    >>> next_group_name(["A", "B"]), next_group_name(["1", "2"]), next_group_name(["Red"])
    ('C', '3', '2')
    """
    if names and all(len(name) == 1 and "A" <= name < "Z" for name in names):
        return chr(ord(max(names)) + 1)
    numbers = [int(name) for name in names if name.isdecimal()]
    number = max([len(names), *numbers]) + 1
    return str(number)


# --- putting it in place ----------------------------------------------------------------------


def what_is_against(now: Arrangement, wanted: Arrangement, swum: Collection[int]) -> Errors:
    """Everything for which it cannot be so."""
    errors: Errors = []
    numbers = [number for _name, its in wanted for number in its]
    if sorted(numbers) != sorted(number for _name, its in now for number in its):
        told = _("The swimmers have changed meanwhile. Look at the running order again.")
        return [("", told)]
    if len({name for name, _its in wanted}) != len(wanted):
        return [("", _("Each group must have a name of its own."))]
    for name, its in now:
        before = [number for number in its if number in swum]
        after = [number for number in dict(wanted).get(name, []) if number in swum]
        for number in sorted(set(before) - set(after)):
            told = _("has swum already, and stays in group %(group)s.", group=name)
            errors.append((_("number %(number)s", number=number), told))
        if not errors and before != after:
            told = _("who has swum stays in the order in which they stand.")
            errors.append((_("group “%(name)s”", name=name), told))
    if not errors and _with_swum(now, swum) != _with_swum(wanted, swum):
        errors.append(("", _("Groups of which somebody has swum stay in their order.")))
    return errors


def _with_swum(order: Arrangement, swum: Collection[int]) -> list[str]:
    return [name for name, its in order if any(number in swum for number in its)]


@transaction.atomic
def arrange(*, clinic: Clinic, wanted: Arrangement, by: User | None) -> int:
    """Make the running order what `wanted` says; how many swimmers have another group or place.
    BadInput names all that is against it."""
    clinic = Clinic.objects.select_for_update().get(pk=clinic.pk)
    if clinic.state == Clinic.State.CLOSED:
        raise BadInput([("", _("This clinic is closed; its running order stays as it was."))])
    now = arrangement_of(clinic)
    raise_if_any(_bad_names(wanted) or what_is_against(now, wanted, have_swum(clinic)))
    if wanted == now:
        return 0
    groups = _put_groups(clinic, [name for name, _its in wanted])
    moved = _put_entries(clinic, wanted, groups)
    record(
        action="running-order.changed",
        by=by,
        subject=clinic,
        club=clinic.club,
        detail={"moved": moved},
    )
    return moved


def _bad_names(wanted: Arrangement) -> Errors:
    told = _("A group's name has 1 to %(chars)s letters.", chars=NAME_CHARS)
    return [("", told) for name, _its in wanted if not 1 <= len(name.strip()) <= NAME_CHARS]


def _put_groups(clinic: Clinic, names: Sequence[str]) -> dict[str, LaneGroup]:
    """The same orders, dealt out anew: groups that a roster brought keep theirs from 1001 up,
    by which a roster that is taken in later knows them (actions/roster.py)."""
    groups = {group.name: group for group in clinic.lane_groups.all()}
    last = max((group.order for group in groups.values()), default=0)
    for name in names:
        if name not in groups:
            last += 1
            groups[name] = LaneGroup.objects.create(clinic=clinic, name=name, order=last)
    in_order = [*names, *(name for name in groups if name not in names)]
    orders = _apart(sorted(group.order for group in groups.values()))
    for name, order in zip(in_order, orders, strict=True):
        if groups[name].order != order:
            groups[name].order = order
            groups[name].save(update_fields=["order"])
    return groups


def _apart(orders: Iterable[int]) -> list[int]:
    """
    >>> _apart([1, 1, 2, 7])
    [1, 2, 3, 7]
    """
    apart: list[int] = []
    for order in orders:
        apart.append(max(order, apart[-1] + 1) if apart else order)
    return apart


def _put_entries(clinic: Clinic, wanted: Arrangement, groups: dict[str, LaneGroup]) -> int:
    entries = {entry.number: entry for entry in clinic.entries.all()}
    places = [(name, number) for name, its in wanted for number in its]
    changed: list[Entry] = []
    for order, (name, number) in enumerate(places, start=1):
        entry, group = entries[number], groups[name]
        if (entry.lane_group_id, entry.order) != (group.pk, order):
            entry.lane_group, entry.order = group, order
            changed.append(entry)
    Entry.objects.bulk_update(changed, ["lane_group", "order"])
    return len(changed)
