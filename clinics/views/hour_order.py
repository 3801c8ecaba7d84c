"""The page on which an admin changes the running order."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from clinics.actions.pool_hour import Planned, planned
from clinics.actions.running_order import Arrangement, arrangement_of, have_swum
from clinics.actions.running_order_ideas import Idea, Proposal, groups_for, proposals
from clinics.models import Clinic, Entry
from clinics.views.hour_told import summary_of
from clinics.views.hour_words import gives_words, length
from clinics.views.plan_places import plan_places

MOST_GROUPS = 99


@dataclass(frozen=True)
class Row:
    entry: Entry
    place: int
    has_swum: bool


@dataclass(frozen=True)
class ProposalTold:
    """`order` as the form sends it back; `groups`: each group's name and who is in it."""

    idea: str
    title: str
    told: str
    gives: str
    groups: Sequence[tuple[str, str]]
    order: str


def order_page(clinic: Clinic, groups_asked: str, new_group: str) -> dict[str, Any]:
    now, swum = arrangement_of(clinic), have_swum(clinic)
    entries = {entry.number: entry for entry in clinic.entries.select_related("swimmer")}
    rows = [
        (name, [Row(entries[n], place, n in swum) for place, n in enumerate(its, start=1)])
        for name, its in now
    ]
    plan = planned(clinic)
    count = _count(groups_asked, len(entries))
    context: dict[str, Any] = {
        "clinic": clinic,
        "groups": rows,
        "new_group": new_group,
        "count": count,
        "places_of_plan": plan_places(clinic, "pool-hour"),
    }
    if plan is not None:
        context |= summary_of(plan)
        found = proposals(plan, now, swum, count)
        context["proposals"] = [_told(plan, one) for one in found]
    return context


def _count(asked: str, swimmers: int) -> int:
    usual = groups_for(swimmers)
    wanted = int(asked) if asked.isdecimal() and len(asked) < 4 else usual
    return min(max(wanted, 1), MOST_GROUPS, max(swimmers, 1))


def _told(plan: Planned, one: Proposal) -> ProposalTold:
    titles = {
        Idea.FASTEST_GROUP_FIRST: _("The fastest group first"),
        Idea.FASTEST_SWIMMER_FIRST: _("The fastest first in each group"),
        Idea.MOVE_SLOWEST: _("The slowest with a group of their pace"),
        Idea.EVEN_GROUPS: _("Even groups by pace"),
    }
    why = {
        Idea.FASTEST_GROUP_FIRST: _("As training lanes send them; by the slowest of each group."),
        Idea.FASTEST_SWIMMER_FIRST: _("Nobody changes the group."),
        Idea.MOVE_SLOWEST: _("A group's gap is that of its slowest."),
        Idea.EVEN_GROUPS: _("Takes swimmers out of the groups that they train in."),
    }
    moved = ngettext(
        "%(count)d swimmer changes the group.", "%(count)d swimmers change the group.", one.moved
    )
    told = f"{why[one.idea]} {moved % {'count': one.moved}}" if one.moved else why[one.idea]
    return ProposalTold(
        one.idea,
        titles[one.idea],
        told,
        _gives(one),
        _groups(plan, one.order),
        json.dumps(one.order),
    )


def _gives(one: Proposal) -> str:
    if one.gains_s == 0:
        return _("takes as long as now")
    if one.gains_s > 0:
        return gives_words(one.spare_s, one.gains_s)
    costs = {
        "costs": length(-one.gains_s, up=True),
        "left": length(abs(one.spare_s), up=one.spare_s < 0),
    }
    if one.spare_s < 0:
        return _("takes %(costs)s more: %(left)s too short") % costs
    return _("takes %(costs)s more: still fits, %(left)s spare") % costs


def _groups(plan: Planned, order: Arrangement) -> list[tuple[str, str]]:
    return [
        (name, ", ".join(str(plan.entries[number]) for number in its)) for name, its in order if its
    ]
