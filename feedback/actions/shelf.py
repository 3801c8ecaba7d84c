"""The teaching shelf: clips from which coaches of any club learn, by fault and remedy.

A coach of the clinic puts a clip up; its swimmer is told, sees who looked, and ends it in one tap.
"""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from django.conf import settings
from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.db.models import Q
from django.urls import reverse
from django.utils import timezone, translation
from django.utils.translation import gettext as _

from clinics.models import Clip, ShelfClip, Swim
from portal.actions.audit import record
from portal.actions.ledger import note_withdrawn
from portal.actions.mail import queue_mail
from portal.models import AuditEntry, Membership, User

if TYPE_CHECKING:
    from django.db.models import QuerySet

LOOKED = "shelf.view"
ONE_ENTRY_PER = timedelta(minutes=15)


class ShelfRefused(Exception):
    """A sentence for the coach."""


def coached_clips(by: User) -> QuerySet[Clip]:
    """Clips that the user sees as coach of their clinic."""
    coached = Swim.objects.coached_by(by).values("pk")
    return Clip.objects.visible_to(by).filter(swim__in=coached)


@transaction.atomic
def put_up(*, clip: Clip, fault: str, remedy: str, by: User) -> ShelfClip:
    row = coached_clips(by).filter(pk=clip.pk).select_related("swim__entry__clinic__club").first()
    if row is None:
        raise PermissionDenied("only a coach of the clinic puts a clip up")
    if ShelfClip.objects.filter(clip=row, ended_at__isnull=True).exists():
        raise ShelfRefused(_("This clip is on the shelf already."))
    if row.swim.given_at is None:
        raise ShelfRefused(_("Give the swim to its swimmer first."))
    put = ShelfClip.objects.create(clip=row, fault=fault, remedy=remedy, put_by=by)
    if not Clip.objects.on_shelf_for(by).filter(pk=row.pk).exists():
        raise ShelfRefused(
            _(
                "The swimmer, or somebody else who can be recognised in this clip, has not agreed "
                "to be shown to coaches of other clubs."
            )
        )
    _note("shelf.put", put, by)
    _tell_swimmer(put)
    return put


def _tell_swimmer(put: ShelfClip) -> None:
    swimmer = put.clip.swim.entry.swimmer
    user = swimmer.user
    if user is None:
        return
    with translation.override(user.language):
        queue_mail(
            to=user.email,
            subject=_("Coaches elsewhere learn from a clip of yours"),
            body=_(
                "A coach put a clip of your swim at %(venue)s on the teaching shelf, where coaches "
                "of other clubs see it. You see there who looked, and end it with one tap:"
                "\n\n%(url)s\n"
            )
            % {
                "venue": put.clip.swim.entry.clinic.venue,
                "url": settings.SITE_URL + reverse("feedback:shown"),
            },
        )


@transaction.atomic
def end(*, put: ShelfClip, by: User) -> None:
    """By its swimmer, by the coach who put it up, or by another coach of the clinic."""
    rows = ShelfClip.objects.select_for_update(of=("self",)).filter(
        pk__in=may_end(by).filter(pk=put.pk).values("pk")
    )
    row = rows.select_related("clip__swim__entry__clinic__club").first()
    if row is None:
        raise PermissionDenied("only its swimmer or a coach of the clinic ends it")
    if row.ended_at is None:
        row.ended_at, row.ended_by = timezone.now(), by
        row.save(update_fields=["ended_at", "ended_by"])
        note_withdrawn(ShelfClip._meta.label, row.pk, "")
        _note("shelf.end", row, by)


def may_end(by: User) -> QuerySet[ShelfClip]:
    coached = Swim.objects.coached_by(by).values("pk")
    mine = Q(clip__swim__entry__swimmer__user_id=by.pk) | Q(put_by=by)
    return ShelfClip.objects.filter(mine | Q(clip__swim__in=coached))


# --- who looks ----------------------------------------------------------------------------------


def on_shelf_for(user: User) -> QuerySet[ShelfClip]:
    """What a coach may look at, by fault."""
    seen = Clip.objects.on_shelf_for(user).values("pk")
    rows = ShelfClip.objects.filter(clip__in=seen, ended_at__isnull=True)
    return rows.order_by("fault", "-put_at")


@transaction.atomic
def note_look(*, put: ShelfClip, by: User) -> None:
    """One entry per coach, clip and quarter of an hour."""
    since = timezone.now() - ONE_ENTRY_PER
    mine = AuditEntry.objects.filter(action=LOOKED, actor_id=by.pk, subject_id=str(put.pk))
    if not mine.filter(at__gt=since).exists():
        _note(LOOKED, put, by)


@dataclass(frozen=True)
class Look:
    """Who looked last when; `clubs`: which they coach for today."""

    coach: User | None
    clubs: str
    at: datetime


def looks_at(puts: Iterable[ShelfClip]) -> dict[uuid.UUID, list[Look]]:
    """Of each, who looked, the last first. Three queries."""
    entries = AuditEntry.objects.filter(
        action=LOOKED, subject_kind=ShelfClip._meta.label, subject_id__in=[str(p.pk) for p in puts]
    )
    last: dict[tuple[str, uuid.UUID | None], datetime] = {}
    for entry in entries.order_by("seq"):
        last[(entry.subject_id, entry.actor_id)] = entry.at
    people = User.objects.in_bulk([actor for _put, actor in last if actor])
    clubs: dict[uuid.UUID, set[str]] = defaultdict(set)
    coaching = Membership.objects.current().filter(user__in=people, role=Membership.Role.COACH)
    for user_id, club in coaching.values_list("user_id", "club__name"):
        clubs[user_id].add(club)
    looks: dict[uuid.UUID, list[Look]] = defaultdict(list)
    for (put, actor), at in sorted(last.items(), key=lambda item: item[1], reverse=True):
        coach = people.get(actor) if actor else None
        named = ", ".join(sorted(clubs[actor])) if actor else ""
        looks[uuid.UUID(put)].append(Look(coach, named, at))
    return looks


def _note(action: str, put: ShelfClip, by: User) -> None:
    clip = put.clip
    told = {"clip": str(clip.pk), "swim": str(clip.swim_id)}
    record(action=action, by=by, subject=put, club=clip.swim.entry.clinic.club, detail=told)
