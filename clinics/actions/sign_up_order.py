"""The running order after somebody new came in: whoever stood in it keeps their order."""

from __future__ import annotations

from collections.abc import Sequence

from clinics.compute.rotation import Goer, fastest_groups_first, running_order
from clinics.models import Clinic, Entry, LaneGroup

BROUGHT_FROM = 1000  # groups of the plan have orders up to this; others come after them


def swimmer_groups(clinic: Clinic, wanted: Sequence[tuple[str, float]]) -> dict[str, LaneGroup]:
    """By name, those that are there and those that are made now: new ones come last, the fastest
    of them first. `wanted`: group and pace of each swimmer."""
    groups = {group.name: group for group in clinic.lane_groups.all()}
    goers = [Goer(n, name, pace) for n, (name, pace) in enumerate(wanted) if name not in groups]
    last = max([BROUGHT_FROM, *(group.order for group in groups.values())])
    for step, name in enumerate(fastest_groups_first(goers), start=1):
        groups[str(name)] = LaneGroup.objects.create(
            clinic=clinic, name=str(name), order=last + step
        )
    return groups


def put_in_order(clinic: Clinic) -> None:
    """Group by group; in each first who was there, as they were, then the new ones (order 0),
    fastest first."""
    entries = list(clinic.entries.select_related("lane_group").order_by("order", "number"))
    groups = sorted({(e.lane_group.order, e.lane_group.name) for e in entries})
    goers = [Goer(e.pk, e.lane_group.name, e.pace_s_per_100m) for e in entries]
    there = [entry.pk for entry in entries if entry.order > 0]
    by_pk = {entry.pk: entry for entry in entries}
    ordered = running_order(goers, [name for _order, name in groups], chosen=there)
    for order, goer in enumerate(ordered, start=1):
        by_pk[goer.key].order = order  # type: ignore[index]
    Entry.objects.bulk_update(entries, ["order"])
