"""The day board: how each station and each phone is doing, and what is said of a swimmer or a
station on the page itself instead of on a phone."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterable
from dataclasses import dataclass

from django.db import transaction
from django.db.models import OuterRef, Subquery
from django.utils import timezone

from clinics.actions.errors import BadInput
from clinics.actions.errors import say as _
from clinics.actions.log_sync import Synced
from clinics.actions.log_words import take_station_words, take_wishes
from clinics.actions.phone_clocks import clocks_of
from clinics.compute.phone_clock import PhoneLine, summary
from clinics.compute.phone_sync import StationWordSaid, WishSaid
from clinics.compute.time import to_epoch_ms
from clinics.models import Clinic, DayWish, Phone, Station, StationWord
from portal.actions.audit import record
from portal.models import User


@dataclass(frozen=True)
class StationNow:
    """`state` of StationWord and when it was said; "" and None: nobody has said anything."""

    station: Station
    state: str
    said_at: dt.datetime | None


@dataclass(frozen=True)
class PhoneNow:
    """`clock`: how its clock is doing, None if it sent nothing to judge it by."""

    phone: Phone
    clock: PhoneLine | None


def stations_now(clinic: Clinic, until: dt.datetime | None = None) -> list[StationNow]:
    """One query; `until`: as it stood then."""
    words = StationWord.objects.filter(station=OuterRef("pk")).order_by("-at", "-pk")
    words = words if until is None else words.filter(at__lte=until)
    stations = clinic.stations.annotate(
        said=Subquery(words.values("state")[:1]), said_at=Subquery(words.values("at")[:1])
    )
    return [StationNow(one, one.said or "", one.said_at) for one in stations]


def phones_now(clinic: Clinic, now: dt.datetime) -> list[PhoneNow]:
    """In the order in which they were first heard. Five queries, one if there is no phone."""
    phones = list(Phone.objects.filter(clinic=clinic))
    if not phones:
        return []
    lines = summary(clocks_of(clinic), now_ms=to_epoch_ms(now))
    clock = {line.phone: line for line in lines}
    return [PhoneNow(phone, clock.get(str(phone.pk))) for phone in phones]


def wishes_of(clinic: Clinic) -> Iterable[DayWish]:
    """What holds now, in order of numbers."""
    wishes = DayWish.objects.filter(entry__clinic=clinic)
    return wishes.select_related("entry__swimmer").order_by("entry__number", "kind")


@transaction.atomic
def say_wish(
    *,
    clinic: Clinic,
    number: int,
    kind: str,
    from_at: dt.datetime | None = None,
    gone: bool = False,
    by: User,
) -> None:
    """Somebody comes late, ready from `from_at` on, or wishes a second go; `gone`: no longer. It
    stands beside what phones say: of all words the newest holds."""
    clinic = _open(clinic)
    if kind == DayWish.Kind.LATE and from_at is None and not gone:
        raise BadInput([("", _("Say from when they are ready."))])
    entries = {entry.number: entry for entry in clinic.entries.all()}
    now_ms = to_epoch_ms(timezone.now())
    from_ms = None if from_at is None else to_epoch_ms(from_at)
    said = WishSaid(f"page-{uuid.uuid4()}", number, kind, from_ms, gone, now_ms)
    done = Synced()
    take_wishes([said], entries, 0.0, by, done)
    _refuse(done)
    detail: dict[str, object] = {"kind": kind, "gone": gone, "entry": str(entries[number].pk)}
    record(action="wish.said", by=by, subject=clinic, club=clinic.club, detail=detail)


@transaction.atomic
def say_station(*, clinic: Clinic, station: uuid.UUID, state: str, by: User) -> None:
    """What its crew says of a station's camera."""
    clinic = _open(clinic)
    now_ms = to_epoch_ms(timezone.now())
    done = Synced()
    said = StationWordSaid(f"page-{uuid.uuid4()}", station, state, now_ms)
    take_station_words(clinic, [said], 0.0, by, done)
    _refuse(done)
    detail: dict[str, object] = {"station": str(station), "state": state}
    record(action="station.said", by=by, subject=clinic, club=clinic.club, detail=detail)


def _open(clinic: Clinic) -> Clinic:
    clinic = Clinic.objects.select_for_update().get(pk=clinic.pk)
    if clinic.state == Clinic.State.CLOSED:
        raise BadInput([("", _("This clinic is closed; nothing is said of its day any more."))])
    return clinic


def _refuse(done: Synced) -> None:
    if done.refused:
        raise BadInput([("", told) for one in done.refused for told in one.errors])
