"""A try-out: begun with two named adults who agreed, two starts tapped, files brought in, and
gone again. Judging is try_out_judge.py; whoever calls has asked the fence."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from django.conf import settings
from django.db import transaction
from django.db.models import Q
from django.utils import timezone

from clinics.actions.bring_in import NAME_CHARS
from clinics.actions.errors import BadInput
from clinics.actions.errors import say as _
from clinics.models import Clinic, Station, Swimmer, TryOut, TryOutFile, TryOutStill
from clinics.privacy_asks import agrees
from portal.actions import files
from portal.actions.audit import record
from portal.actions.jobs import enqueue
from portal.actions.purge import delete_files
from portal.models import StoredFile, User
from portal.registry import Gone

RULE = "try-out"
JUDGE = "judge-try-out"
JUDGE_PRIORITY = 5  # somebody stands at the pool and waits
KEPT = dt.timedelta(hours=12)
MAX_BYTES = 2 << 30
LEAST_APART_S = 8.0  # as the start log's button is locked
MOST_APART_S = 600.0
AHEAD = dt.timedelta(seconds=5)
MOST_FILES = 24


@dataclass(frozen=True)
class Who:
    """One of the two: somebody on the club's list, or a name."""

    swimmer: Swimmer | None = None
    name: str = ""


def max_bytes() -> int:
    return min(MAX_BYTES, settings.UPLOAD_MAX_BYTES)


def open_try_out(clinic: Clinic) -> TryOut | None:
    """The one whose footage is still there."""
    return clinic.try_outs.filter(gone_at__isnull=True).first()


def may_swim(clinic: Clinic) -> list[Swimmer]:
    """Of the clinic's swimmers, adults who agree to be filmed now."""
    entered = Q(entries__clinic=clinic, adult_attested_at__isnull=False)
    rows = Swimmer.objects.filter(entered).filter(agrees("pk"))
    return list(rows.distinct().order_by("name"))


@transaction.atomic
def begin(*, clinic: Clinic, who: Sequence[Who], attested: bool, by: User) -> TryOut:
    """BadInput names what is missing. What an earlier try-out found goes with this one's begin."""
    clinic = Clinic.objects.select_for_update().get(pk=clinic.pk)
    _refuse_closed(clinic)
    if open_try_out(clinic) is not None:
        raise BadInput([("", _("There is a try-out already: delete its footage first."))])
    first, second = _two(clinic, who)
    if not attested:
        told = _("Say that both are 18 or older and agree to be filmed, or do not film them.")
        raise BadInput([("attested", told)])
    clinic.try_outs.all().delete()
    now = timezone.now()
    row = TryOut.objects.create(
        clinic=clinic,
        first_swimmer=first.swimmer,
        first_name=first.name,
        second_swimmer=second.swimmer,
        second_name=second.name,
        begun_by=by,
        begun_at=now,
        delete_by=now + KEPT,
    )
    record(action="try-out.begin", by=by, subject=clinic, club=clinic.club)
    return row


def _refuse_closed(clinic: Clinic) -> None:
    if clinic.state == Clinic.State.CLOSED:
        raise BadInput([("", _("This clinic is closed: there is nothing to try out."))])


def _two(clinic: Clinic, who: Sequence[Who]) -> tuple[Who, Who]:
    agreeing = {swimmer.pk for swimmer in may_swim(clinic)}
    errors: list[tuple[str, str]] = []
    for where, one in zip(("first", "second"), who, strict=True):
        if one.swimmer is None and not one.name.strip():
            errors.append((where, _("Choose somebody, or write a name.")))
        elif one.swimmer is not None and one.swimmer.pk not in agreeing:
            told = _("%(name)s has not agreed to be filmed.", name=one.swimmer.name)
            errors.append((where, told))
    first, second = (Who(one.swimmer, "" if one.swimmer else one.name.strip()[:120]) for one in who)
    same_name = first.name.casefold() == second.name.casefold()
    if not errors and first.swimmer == second.swimmer and same_name:
        errors.append(("second", _("Two people: they start one after the other.")))
    if errors:
        raise BadInput(errors)
    return first, second


@transaction.atomic
def tap(*, try_out: TryOut, which: int, at: dt.datetime | None, by: User) -> TryOut:
    """The instant of a start: 1 or 2. `at` is the phone's, on the server's clock; without it, or
    if it cannot be so, now. Tapping the first again begins anew. Files that are here already are
    judged anew once both are known."""
    row = _locked(try_out)
    now = timezone.now()
    if at is None or not row.begun_at <= at <= now + AHEAD:
        at = now
    if which == 1:
        row.first_start_at, row.second_start_at = at, None
    else:
        _refuse_second(row, at)
        row.second_start_at = at
    row.save(update_fields=["first_start_at", "second_start_at"])
    if row.gap_s is not None:
        _judge_again(row, by)
    record(
        action="try-out.start",
        by=by,
        subject=row.clinic,
        club=row.clinic.club,
        detail={"which": which},
    )
    return row


def _refuse_second(row: TryOut, at: dt.datetime) -> None:
    if row.first_start_at is None:
        raise BadInput([("", _("Tap the first start first."))])
    apart_s = (at - row.first_start_at).total_seconds()
    if apart_s < LEAST_APART_S:
        told = _("Let at least %(least)d seconds lie between the two.", least=int(LEAST_APART_S))
        raise BadInput([("", told)])
    if apart_s > MOST_APART_S:
        told = _("The first start is too long ago: tap it again, then the second.")
        raise BadInput([("", told)])


def _locked(try_out: TryOut) -> TryOut:
    row = TryOut.objects.select_for_update(of=("self",)).select_related("clinic__club")
    found = row.filter(pk=try_out.pk, gone_at__isnull=True, delete_by__gt=timezone.now()).first()
    if found is None:
        raise BadInput([("", _("This try-out is over; its footage is gone."))])
    _refuse_closed(found.clinic)
    return found


def _judge_again(row: TryOut, by: User) -> None:
    there = row.files.filter(stored__state=StoredFile.State.READY)
    for one in there:
        TryOutFile.objects.filter(pk=one.pk).update(state=TryOutFile.State.WAITING)
        enqueue(kind=JUDGE, subject=one, asked_by=by, priority=JUDGE_PRIORITY)


@transaction.atomic
def bring(*, try_out: TryOut, station: Station, path: Path, name: str, by: User) -> TryOutFile:
    """`path` lies below the uploads' folder and is gone afterwards. Asks to judge it."""
    row = _locked(try_out)
    if row.files.count() >= MOST_FILES:
        raise BadInput([("", _("There are %(n)d files already.", n=MOST_FILES))])
    stored = files.publish(
        temporary=path,
        area=StoredFile.Area.ORIGINALS,
        kind=RULE,
        club=row.clinic.club,
        keeping_rule=RULE,
        content_type="application/octet-stream",
        suffix=".bin",
    )
    date_with(row, stored)
    file = TryOutFile.objects.create(
        try_out=row, station=station, name=name[:NAME_CHARS], stored=stored, brought_by=by
    )
    enqueue(kind=JUDGE, subject=file, asked_by=by, priority=JUDGE_PRIORITY)
    record(action="try-out.bring", by=by, subject=station, club=row.clinic.club)
    return file


def date_with(row: TryOut, stored: StoredFile) -> None:
    """The rule could not know whose it is before the row says so."""
    stored.delete_by = row.delete_by
    stored.save(update_fields=["delete_by"])


@transaction.atomic
def say_of_frame(*, file: TryOutFile, frame: str, by: User) -> None:
    """What somebody who looked at the stills says of the frame."""
    _locked(file.try_out)
    TryOutFile.objects.filter(pk=file.pk).update(frame=frame, frame_by=by)


@transaction.atomic
def end(*, try_out: TryOut, by: User) -> Gone:
    """All footage and names go now. BadInput if something of it is held."""
    row = TryOut.objects.select_for_update(of=("self",)).filter(pk=try_out.pk)
    found = row.filter(gone_at__isnull=True).select_related("clinic__club").first()
    if found is None:
        return Gone()
    if TryOut.objects.held().filter(pk=found.pk).exists():
        told = _("An admin keeps this from deletion. It is out of sight; ask them.")
        raise BadInput([("", told)])
    gone = empty(found)
    record(
        action="try-out.end",
        by=by,
        subject=found.clinic,
        club=found.clinic.club,
        detail={"files": gone.files, "size_bytes": gone.size_bytes},
    )
    return gone


def empty(row: TryOut) -> Gone:
    """For use within the transaction in which the row is locked: what was found stays, without
    a picture, a sound or a name."""
    stills = list(TryOutStill.objects.filter(file__try_out=row).select_related("stored"))
    stored = [one.stored for one in row.files.select_related("stored") if one.stored is not None]
    gone = delete_files([*stored, *(still.stored for still in stills)])
    TryOutStill.objects.filter(file__try_out=row).delete()
    row.files.update(stored=None, brought_by=None, name="", reason="")
    waiting = row.files.filter(state=TryOutFile.State.WAITING)
    waiting.delete()  # nobody will judge them any more
    TryOut.objects.filter(pk=row.pk).update(
        first_swimmer=None,
        second_swimmer=None,
        first_name="",
        second_name="",
        gone_at=timezone.now(),
    )
    return Gone({TryOutStill._meta.label: len(stills)}, gone.files, gone.size_bytes)
