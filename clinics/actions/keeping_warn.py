"""Telling people beforehand what goes: 14 days before, and 3.

A swimmer is told of their clips, the admins of a club of originals and of what was never given.
One mail for each person and round, with days and links, without names or pictures. A warning is
given once for each thing, date and distance; a date that moves is told of again.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.conf import settings
from django.db import transaction
from django.db.models import Min
from django.urls import reverse
from django.utils import timezone, translation
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from clinics.actions.purge_clips import held_swim
from clinics.models import Clinic, SourceFile, Swim
from clinics.privacy import held_by_part
from portal.actions.mail import queue_mail
from portal.models import DueWarning, Membership, StoredFile

if TYPE_CHECKING:
    from django.db.models import Model

DAYS_BEFORE = (14, 3)
AT_MOST = 500  # swims in one round; the next round tells of the rest
Thing = tuple[str, uuid.UUID, dt.datetime, int]  # kind, id, when it goes, told so many days before


@dataclass(frozen=True)
class Goes:
    """Something that goes soon."""

    kind: str
    id: uuid.UUID
    at: dt.datetime
    days_before: int

    @property
    def key(self) -> Thing:
        return (self.kind, self.id, self.at, self.days_before)


def warn() -> int:
    """A step of the sweep. How many mails were written."""
    return _warn_swimmers() + _warn_admins()


def _horizon() -> dict[str, dt.datetime]:
    now = timezone.now()
    return {"gt": now, "lte": now + dt.timedelta(days=max(DAYS_BEFORE))}


def _within(path: str) -> dict[str, dt.datetime]:
    return {f"{path}__{how}": at for how, at in _horizon().items()}


def _goes(model: type[Model], pk: uuid.UUID, at: dt.datetime) -> Goes:
    left = at - timezone.now()
    days = min(days for days in DAYS_BEFORE if left <= dt.timedelta(days=days))
    return Goes(model._meta.label, pk, at, days)


def _not_told(found: Iterable[Goes]) -> set[Thing]:
    found = list(found)
    told = DueWarning.objects.filter(subject_id__in=[one.id for one in found])
    known = set(told.values_list("subject_kind", "subject_id", "delete_by", "days_before"))
    return {one.key for one in found} - known


def _note(things: Iterable[Thing]) -> None:
    DueWarning.objects.bulk_create(
        DueWarning(subject_kind=kind, subject_id=pk, delete_by=at, days_before=days)
        for kind, pk, at, days in things
    )


# --- swimmers -----------------------------------------------------------------------------------


@transaction.atomic
def _warn_swimmers() -> int:
    swims = Swim.objects.filter(given_at__isnull=False, person=Swim.Person.CONFIRMED)
    swims = swims.exclude(held_swim()).annotate(first=Min("clips__delete_by"))
    swims = swims.filter(**_within("first")).order_by("first", "pk")
    found = {
        _goes(Swim, swim.pk, swim.first).key: swim
        for swim in swims.select_related("entry__swimmer__user", "entry__clinic")[:AT_MOST]
    }
    new = _not_told(Goes(*key) for key in found)
    by_address: dict[str, list[tuple[Thing, Swim]]] = defaultdict(list)
    for key in new:
        by_address[_address(found[key])].append((key, found[key]))
    by_address.pop("", None)  # nobody to tell
    for address, told in by_address.items():
        _write_to_swimmer(address, sorted(told, key=lambda one: (one[0][2], one[1].start_at)))
    _note(new)
    return len(by_address)


def _address(swim: Swim) -> str:
    swimmer = swim.entry.swimmer
    if swimmer.user is not None:
        return swimmer.user.email if swimmer.user.is_active else ""
    return swimmer.email.lower()


def _write_to_swimmer(address: str, told: list[tuple[Thing, Swim]]) -> None:
    user = told[0][1].entry.swimmer.user
    with translation.override(user.language if user is not None else settings.LANGUAGE_CODE):
        lines = "\n\n".join(_swim_line(key[2], swim) for key, swim in told)
        subject = ngettext(
            "The clips of a swim go soon", "The clips of %(count)d swims go soon", len(told)
        )
        queue_mail(
            to=address,
            subject=subject % {"count": len(told)},
            body=_(
                "These clips are deleted on the day that stands beside them, as the club's "
                "rules say. What was said about them stays longer. Until then you can sign in, "
                "take along what you want, or ask the club to keep them longer:\n\n%(lines)s\n"
            )
            % {"lines": lines},
        )


def _swim_line(at: dt.datetime, swim: Swim) -> str:
    told = {
        "day": date_format(at, "DATE_FORMAT"),
        "clinic": swim.entry.clinic.name,
        "of": date_format(swim.entry.clinic.date, "DATE_FORMAT"),
    }
    place = f"{settings.SITE_URL.rstrip('/')}/swims/{swim.pk}/"
    return _("%(day)s: %(clinic)s, %(of)s") % told + f"\n{place}"


# --- admins -------------------------------------------------------------------------------------


@transaction.atomic
def _warn_admins() -> int:
    found = _originals() | _never_given()
    new = _not_told(found)
    by_club: dict[uuid.UUID, list[tuple[Goes, Clinic]]] = defaultdict(list)
    for goes, clinic in found.items():
        if goes.key in new:
            by_club[clinic.club_id].append((goes, clinic))
    mails = sum(_write_to_admins(club, told) for club, told in by_club.items())
    _note(new)
    return mails


def _originals() -> dict[Goes, Clinic]:
    """One for each clinic: when the first of its originals go."""
    sources = SourceFile.objects.filter(
        stored__state=StoredFile.State.READY, **_within("stored__delete_by")
    )
    clinic = "recording__station__clinic"
    held = held_by_part(Recording="recording_id", Clinic=f"{clinic}_id")
    rows = sources.exclude(held).order_by().values(clinic).annotate(at=Min("stored__delete_by"))
    first = dict(rows.values_list(clinic, "at"))
    clinics = Clinic.objects.filter(pk__in=first)
    return {_goes(Clinic, row.pk, first[row.pk]): row for row in clinics}


def _never_given() -> dict[Goes, Clinic]:
    swims = Swim.objects.filter(given_at__isnull=True, clips__isnull=False, **_within("delete_by"))
    swims = swims.exclude(held_swim()).select_related("entry__clinic").distinct()
    return {
        _goes(Swim, swim.pk, swim.delete_by): swim.entry.clinic
        for swim in swims.order_by("delete_by", "pk")[:AT_MOST]
        if swim.delete_by is not None
    }


def _write_to_admins(club: uuid.UUID, told: list[tuple[Goes, Clinic]]) -> int:
    admins = Membership.objects.current().filter(club=club, role=Membership.Role.ADMIN)
    admins = admins.filter(user__is_active=True).select_related("user", "club")
    for admin in admins:
        with translation.override(admin.user.language):
            place = reverse("clinics:keeping", args=[admin.club.slug])
            queue_mail(
                to=admin.user.email,
                subject=_("What goes soon at %(club)s") % {"club": admin.club.name},
                body=_(
                    "This is deleted on the day that stands beside it, as the club's rules "
                    "say:\n\n%(lines)s\n\nWhat goes when:\n%(place)s\n"
                )
                % {
                    "lines": "\n".join(_admin_lines(told)),
                    "place": settings.SITE_URL.rstrip("/") + place,
                },
            )
    return len(admins)


def _admin_lines(told: list[tuple[Goes, Clinic]]) -> list[str]:
    """By day; swims of a clinic counted together."""
    counted: Counter[tuple[dt.date, str, str]] = Counter()
    for goes, clinic in told:
        counted[(goes.at.date(), clinic.name, goes.kind)] += 1
    return [
        _admin_line(day, clinic, kind, count)
        for (day, clinic, kind), count in sorted(counted.items())
    ]


def _admin_line(day: dt.date, clinic: str, kind: str, count: int) -> str:
    about = {"day": date_format(day, "DATE_FORMAT"), "clinic": clinic, "count": count}
    if kind == Clinic._meta.label:
        return _("%(day)s: the originals of %(clinic)s; no clip can be made longer then") % about
    says = ngettext(
        "%(day)s: %(count)d swim of %(clinic)s that was never given",
        "%(day)s: %(count)d swims of %(clinic)s that were never given",
        count,
    )
    return says % about
