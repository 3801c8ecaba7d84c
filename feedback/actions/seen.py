"""Who has seen a swimmer's swims: what others did, told from the audit trail.

It reads the trail and never writes. Whoever watched is named; their address is not.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.db.models import Q, QuerySet
from django.utils.translation import gettext as _

from clinics.models import (
    Clinic,
    Clip,
    Duty,
    Entry,
    MinorReport,
    Publication,
    Share,
    ShelfClip,
    Swim,
)
from portal import audit_words
from portal.actions.access_record import names_of
from portal.models import AuditEntry, Membership, User

Subject = tuple[str, str]  # kind and id, as they stand in an entry


@dataclass(frozen=True)
class Seen:
    """Somebody else did something with a swim. `role` says in which capacity, if it is known."""

    seq: int
    at: dt.datetime
    who: str
    role: str
    what: str
    swim: Swim


def seen_by_others(
    *, swims: Sequence[Swim], user: User, at_most: int, before: int | None = None
) -> list[Seen]:
    """Newest first, with the same number of queries however many. `swims` are the user's own."""
    about = _subjects_of(swims)
    meant = Q(pk__in=[])
    for kind, ids in _by_kind(about).items():
        meant |= Q(subject_kind=kind, subject_id__in=ids)
    meant |= _taken_along(swims)
    rows = AuditEntry.objects.filter(meant, action__in=_seeing()).exclude(actor_id=user.pk)
    if before is not None:
        rows = rows.filter(seq__lt=before)
    return _told(list(rows.order_by("-seq")[:at_most]), about, swims)


def _taken_along(swims: Iterable[Swim]) -> Q:
    """Somebody took a clinic's measures: such an entry is about the clinic and names its swims."""
    here: dict[uuid.UUID, Q] = defaultdict(Q)
    for swim in swims:
        here[swim.entry.clinic_id] |= Q(text__contains=str(swim.pk))
    meant = Q(pk__in=[])
    for clinic, named in here.items():
        meant |= named & Q(subject_kind=Clinic._meta.label, subject_id=str(clinic))
    return meant


def _of(row: AuditEntry, about: dict[Subject, Swim], swims: Sequence[Swim]) -> Swim:
    """The swim that the entry is about; of several that it names, the first."""
    known = about.get((row.subject_kind, row.subject_id))
    return known or next(swim for swim in swims if str(swim.pk) in row.text)


def _seeing() -> list[str]:
    return audit_words.of_sort(audit_words.SEEN)


def _subjects_of(swims: Sequence[Swim]) -> dict[Subject, Swim]:
    """All that entries may be about and that belongs to one of these swims."""
    by_pk = {swim.pk: swim for swim in swims}
    about: dict[Subject, Swim] = {(Swim._meta.label, str(swim.pk)): swim for swim in swims}
    paths: tuple[tuple[QuerySet, str], ...] = (
        (Clip._base_manager.all(), "swim_id"),
        (Share._base_manager.all(), "swim_id"),
        (ShelfClip._base_manager.all(), "clip__swim_id"),
        (Publication._base_manager.all(), "clip__swim_id"),
        (MinorReport._base_manager.all(), "clip__swim_id"),
    )
    for rows, path in paths:
        kind = rows.model._meta.label
        for pk, swim_id in rows.filter(**{f"{path}__in": by_pk}).values_list("pk", path):
            about[kind, str(pk)] = by_pk[swim_id]
    return about


def _by_kind(about: Iterable[Subject]) -> dict[str, list[str]]:
    ids: dict[str, list[str]] = defaultdict(list)
    for kind, pk in about:
        ids[kind].append(pk)
    return ids


def _told(rows: list[AuditEntry], about: dict[Subject, Swim], swims: Sequence[Swim]) -> list[Seen]:
    actors = {row.actor_id for row in rows if row.actor_id}
    names, roles = names_of(actors), _Roles(actors)
    told = []
    for row in rows:
        swim = _of(row, about, swims)
        told.append(
            Seen(
                seq=row.seq,
                at=row.at,
                who=names[row.actor_id] if row.actor_id else _("somebody with a link"),
                role=roles.of(row.actor_id, swim) if row.actor_id else "",
                what=audit_words.in_words(row.action),
                swim=swim,
            )
        )
    return told


class _Roles:
    """As what these people have to do with a swim: duty, membership, or a swimmer beside."""

    def __init__(self, people: set[uuid.UUID]) -> None:
        self.duties: dict[tuple[uuid.UUID, uuid.UUID], list[str]] = defaultdict(list)
        duties = Duty.objects.filter(user_id__in=people)
        for duty in sorted(duties, key=lambda one: Duty.Kind.values.index(one.kind)):
            its, label = self.duties[duty.user_id, duty.clinic_id], str(duty.get_kind_display())
            if label not in its:  # a camera at two stations is named once
                its.append(label)
        self.memberships: dict[uuid.UUID, list[Membership]] = defaultdict(list)
        for one in Membership.objects.filter(user_id__in=people).select_related("club"):
            self.memberships[one.user_id].append(one)
        swam = Entry.objects.filter(swimmer__user_id__in=people)
        self.swam = set(swam.values_list("swimmer__user_id", "clinic_id"))

    def of(self, person: uuid.UUID, swim: Swim) -> str:
        clinic = swim.entry.clinic
        here = [m for m in self.memberships[person] if m.club_id == clinic.club_id]
        roles = [str(m.get_role_display()) for m in here]
        roles += self.duties.get((person, clinic.pk), [])
        if roles:
            return ", ".join(roles)
        elsewhere = [m for m in self.memberships[person] if m.role == Membership.Role.COACH]
        if elsewhere:
            return _("coach of %(club)s") % {"club": elsewhere[0].club.name}
        if (person, clinic.pk) in self.swam:
            return _("swam in the same clinic")
        return ""
