"""Swimmers as the site knows people in footage: to export, erase, and to name in requests."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Collection

from django.db.models import Q
from django.utils.formats import date_format

from clinics.actions.swim_wishes import kept_longer
from clinics.models import Clip, ClubRules, Entry, Swim, Swimmer
from clinics.privacy import held_by_part
from portal.models import Club, PersonRequest, User
from portal.registry import Person, PersonSource

ERASED = "erased"  # the name of somebody who is not in the club's data any more
SWIMMER, SWIM = Swimmer._meta.label, Swim._meta.label


def find(pk: uuid.UUID) -> Person | None:
    swimmer = Swimmer.objects.filter(pk=pk).select_related("club", "user").first()
    return _person(swimmer) if swimmer is not None else None


def of_user(user: User) -> list[Person]:
    mine = Swimmer.objects.filter(user=user).select_related("club", "user")
    return [_person(swimmer) for swimmer in mine.order_by("club__name", "name")]


def _person(swimmer: Swimmer) -> Person:
    return Person(
        kind=SWIMMER,
        id=swimmer.pk,
        club=swimmer.club,
        name="" if _is_erased(swimmer) or _has_namesake(swimmer) else swimmer.name,
        emails=_own_addresses(swimmer),
        user=swimmer.user,
    )


def of_club(club: Club) -> list[tuple[uuid.UUID, str]]:
    swimmers = Swimmer.objects.filter(club=club).exclude(name=ERASED, email="", user=None)
    return list(swimmers.order_by("name").values_list("pk", "name"))


def _is_erased(swimmer: Swimmer) -> bool:
    return swimmer.name == ERASED and swimmer.user_id is None and not swimmer.email


def _has_namesake(swimmer: Swimmer) -> bool:
    """Then the name in other people's words may mean the other one, and stays."""
    same = Swimmer.objects.filter(club=swimmer.club_id, name__iexact=swimmer.name)
    return same.exclude(pk=swimmer.pk).exists()


def _own_addresses(swimmer: Swimmer) -> tuple[str, ...]:
    """Couples share an address: it is nobody's alone. Nor is one with which somebody signs in
    who is more than this swimmer."""
    if not swimmer.email:
        return ()
    others = Swimmer.objects.exclude(pk=swimmer.pk)
    if others.filter(email__iexact=swimmer.email).exists():
        return ()
    users = User.objects.filter(email__iexact=swimmer.email)
    if users.exclude(swimmers=swimmer).exists():
        return ()
    more = Q(memberships__isnull=False) | Q(swimmers__in=others.filter(user=swimmer.user_id))
    if swimmer.user_id and users.filter(more).exists():
        return ()
    return (swimmer.email.lower(),)


def cooling(club: Club) -> dt.timedelta:
    rules = ClubRules.objects.filter(club=club).first() or ClubRules()
    return dt.timedelta(days=rules.erase_after_days)


def is_held(person: Person) -> bool:
    """Something of the swimmer's is on hold: a swim, a clip, a file, or all of it."""
    held = held_by_part(
        Swim="pk", Entry="entry_id", Swimmer="entry__swimmer_id", Clinic="entry__clinic_id"
    )
    clips = held_by_part(Clip="pk", Recording="recording_id")
    files = held_by_part(ClipFile="files__pk", StoredFile="files__stored_id")
    mine = Clip.objects.filter(swim__entry__swimmer=person.id)
    return (
        Swim.objects.filter(held, entry__swimmer=person.id).exists()
        or mine.filter(clips | files).exists()
        or Swimmer.objects.filter(held_by_part(Swimmer="pk"), pk=person.id).exists()
    )


def named(about: Collection[tuple[str, uuid.UUID]]) -> dict[uuid.UUID, str]:
    """“Tomas Birk”, or for a swim also where and when. Two queries, however many."""
    of = {kind: [pk for what, pk in about if what == kind] for kind in (SWIMMER, SWIM)}
    swimmers = Swimmer.objects.filter(pk__in=of[SWIMMER])
    words: dict[uuid.UUID, str] = dict(swimmers.values_list("pk", "name"))
    swims = Swim.objects.filter(pk__in=of[SWIM]).select_related("entry__swimmer", "entry__clinic")
    return words | {swim.pk: _swim_in_words(swim.entry) for swim in swims}


def _swim_in_words(entry: Entry) -> str:
    day = date_format(entry.clinic.date, "DATE_FORMAT")
    return f"{entry.swimmer.name}, {entry.clinic.name}, {day}"


def answered(request: PersonRequest) -> None:
    """Yes to keeping a swim longer: its clips get their new date."""
    if request.kind == PersonRequest.Kind.KEEP_LONGER and request.subject_kind == SWIM:
        kept_longer(request)


SOURCE = PersonSource(
    name=SWIMMER,
    find=find,
    of_user=of_user,
    of_club=of_club,
    cooling=cooling,
    is_held=is_held,
    named=named,
    answered=answered,
)
