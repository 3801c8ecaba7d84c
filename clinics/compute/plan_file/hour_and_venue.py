"""The parts of a plan about the pool hour and the venue: what is said, in the right types.

What the values cannot be, and cannot be together, is refused where they are kept
(actions/pool_hour.py, actions/venue.py), as for the pages.
"""

from __future__ import annotations

from functools import partial
from typing import Any

from clinics.compute.errors import say as _
from clinics.compute.plan_file.specs import Said
from clinics.compute.plan_file.table import Errors, Table

PERMISSIONS = ("not-asked", "asked", "given", "refused")


def pool_hour(root: Table, errors: Errors) -> Said | None:
    if not root.says("pool_hour"):
        return None
    table = Table(root.get("pool_hour"), "pool_hour", errors)
    whole = table.whole
    said = {"begins": table.clock("begins")} | table.said(
        minutes=partial(whole, low=1, high=1440),
        briefing_s=partial(whole, low=0, high=3600),
        change_over_s=partial(whole, low=0, high=3600),
        climbing_out_s=partial(whole, low=0, high=600),
        reserve_s=partial(whole, low=0, high=86_400),
        rest_s=partial(whole, low=0, high=86_400),
        briefs_on_deck=partial(table.flag, default=False),
    )
    table.nothing_else()
    return said


def venue_sheet(root: Table, errors: Errors) -> Said | None:
    if not root.says("venue"):
        return None
    table = Table(root.get("venue"), "venue", errors)
    line, lines = partial(table.text, limit=400), partial(_lines, table)
    flag, number = partial(table.flag, default=False), table.number
    said = table.said(
        operator=line,
        operator_contact=line,
        permission=partial(table.choice, choices=PERMISSIONS),
        permission_by=line,
        permission_on=table.day,
        permission_says=lines,
        other_users=lines,
        juniors_in_hall=flag,
        juniors_settled=lines,
        lanes=partial(table.whole, low=1, high=20),
        lane_m=partial(number, low=1, high=5),
        ropes_out=partial(_list, table),
        flags_m=partial(number, low=1, high=15),
        depth_profile=partial(_list, table),
        depth_measured_by=line,
        depth_measured_on=table.day,
        depth_measured_how=line,
        has_blocks=flag,
        block_height_m=partial(number, low=0, high=3),
        edge_height_m=partial(number, low=0, high=3),
        has_window=flag,
        window=line,
        power=lines,
        network=lines,
        lifeguard=line,
        notes=lines,
    )
    table.nothing_else()
    return said


def _lines(table: Table, key: str) -> str:
    """Text of several lines, as it was written."""
    value = table.get(key)
    if not isinstance(value, str):
        table.complain(key, _("must be some text in quotes."))
        return ""
    return value.strip()


def _list(table: Table, key: str) -> list[Any]:
    value = table.get(key)
    if not isinstance(value, list):
        table.complain(key, _("must be a list in square brackets."))
        return []
    return value
