"""The access record of a club: what stands in the audit trail about it, found and in words.

It reads and never writes. Entries hold ids; names are looked up now, so that somebody who was
erased has none here either.
"""

from __future__ import annotations

import datetime as dt
import json
import uuid
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.apps import apps
from django.db.models import Q, QuerySet
from django.utils.translation import gettext as _

from portal import audit_words
from portal.models import AuditEntry, Club, User
from portal.registry import audit_subjects

MOST_MEANT = 2000  # rows that a search text may stand for


@dataclass(frozen=True)
class Asked:
    """What the reader looks for; what is empty is not asked."""

    who: str = ""
    about: str = ""
    sort: str = ""
    from_date: dt.date | None = None
    until_date: dt.date | None = None
    before: int | None = None  # entries older than this one: the next page


@dataclass(frozen=True)
class Told:
    """One entry in words. `about` is empty where the act is about nothing in particular."""

    seq: int
    at: dt.datetime
    who: str
    what: str
    about: str
    action: str
    detail: str


def entries_of(club: Club, asked: Asked) -> QuerySet[AuditEntry]:
    """Newest first."""
    rows = AuditEntry.objects.filter(club_id=club.pk).order_by("-seq")
    if asked.who:
        meant = Q(name__icontains=asked.who) | Q(email__icontains=asked.who)
        rows = rows.filter(actor_id__in=User.objects.filter(meant).values("pk"))
    if asked.about:
        rows = rows.filter(_about(club, asked.about))
    if asked.sort:
        rows = rows.filter(_of_sort(asked.sort))
    if asked.from_date:
        rows = rows.filter(at__gte=_midnight(asked.from_date))
    if asked.until_date:
        rows = rows.filter(at__lt=_midnight(asked.until_date + dt.timedelta(days=1)))
    if asked.before:
        rows = rows.filter(seq__lt=asked.before)
    return rows


def _midnight(day: dt.date) -> dt.datetime:
    return dt.datetime.combine(day, dt.time(), dt.UTC)


def _about(club: Club, text: str) -> Q:
    meant = Q(pk__in=[])
    for subject in audit_subjects.all():
        ids = list(subject.find(club, text))[:MOST_MEANT]
        meant |= Q(subject_kind=subject.name, subject_id__in=ids)
    return meant


def _of_sort(sort: str) -> Q:
    named = Q(pk__in=[])
    for name in audit_words.of_sort(sort):
        named |= Q(action__startswith=name) if name.endswith(".") else Q(action=name)
    return named


# --- in words ---------------------------------------------------------------------------------


def tell(entries: Iterable[AuditEntry]) -> list[Told]:
    """One query for the people, and one for each kind of row that they are about."""
    rows = list(entries)
    people = names_of({row.actor_id for row in rows if row.actor_id})
    about = _subjects_of(rows)
    return [
        Told(
            seq=row.seq,
            at=row.at,
            who=people[row.actor_id] if row.actor_id else _("the site itself"),
            what=audit_words.in_words(row.action),
            about=about.get((row.subject_kind, row.subject_id), ""),
            action=row.action,
            detail=_detail(row),
        )
        for row in rows
    ]


def names_of(ids: Iterable[uuid.UUID]) -> dict[uuid.UUID, str]:
    """The name of each person; whoever is not there any more is said to be gone."""
    wanted = set(ids)
    there = dict(User.objects.filter(pk__in=wanted).values_list("pk", "name"))
    gone = _("somebody whose account is gone")
    nameless = _("somebody who gave no name")
    return {pk: (there[pk] or nameless) if pk in there else gone for pk in wanted}


def _subjects_of(rows: list[AuditEntry]) -> dict[tuple[str, str], str]:
    by_kind: dict[str, set[str]] = defaultdict(set)
    for row in rows:
        by_kind[row.subject_kind].add(row.subject_id)
    known = {subject.name: subject for subject in audit_subjects.all()}
    told: dict[tuple[str, str], str] = {("", ""): ""}
    for kind, ids in by_kind.items():
        if kind in known:
            words, label = known[kind].words(ids), str(known[kind].label)
        else:
            words, label = {}, _label(kind)
        told |= {(kind, pk): words.get(pk) or label for pk in ids if kind}
    return told


def _label(kind: str) -> str:
    try:
        return str(apps.get_model(kind)._meta.verbose_name)
    except (LookupError, ValueError):
        return kind


def _detail(row: AuditEntry) -> str:
    """As it stands in the entry: ids and counts, for whoever looks closer."""
    detail: dict[str, Any] = json.loads(row.text)["detail"]
    return ", ".join(f"{name} {value}" for name, value in sorted(detail.items()))
