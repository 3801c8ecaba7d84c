"""Holds: something is kept from deletion, and from sight, until somebody ends it."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Sequence
from typing import TYPE_CHECKING

from django.core.exceptions import PermissionDenied
from django.db import models, transaction
from django.db.models import Q
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from clinics.models import Clinic, Clip, ClipFile, Entry, Recording, Swim, Swimmer
from portal.actions import ledger
from portal.actions.audit import record
from portal.models import Club, Hold, Membership, StoredFile

if TYPE_CHECKING:
    from django.db.models import QuerySet

    from portal.models import User

# What can be held, and by which path it belongs to a club.
OF_CLUB: dict[str, tuple[type[models.Model], str]] = {
    "clinics.Clinic": (Clinic, "club"),
    "clinics.Swimmer": (Swimmer, "club"),
    "clinics.Entry": (Entry, "clinic__club"),
    "clinics.Swim": (Swim, "entry__clinic__club"),
    "clinics.Clip": (Clip, "swim__entry__clinic__club"),
    "clinics.ClipFile": (ClipFile, "clip__swim__entry__clinic__club"),
    "clinics.Recording": (Recording, "station__clinic__club"),
    "portal.StoredFile": (StoredFile, "club"),
}
OFFERED = {
    "clinic": "clinics.Clinic",
    "swimmer": "clinics.Swimmer",
    "swim": "clinics.Swim",
    "recording": "clinics.Recording",
}


class HoldRefused(Exception):
    """It cannot be held, or not like this; a sentence for the admin."""


def holds_of(club: Club) -> QuerySet[Hold]:
    """Of anything of the club's, open ones first by their review."""
    mine = Q(pk__in=[])
    for kind, (model, path) in OF_CLUB.items():
        rows = model._base_manager.filter(**{path: club})
        mine |= Q(subject_kind=kind, subject_id__in=rows.values("pk"))
    return Hold.objects.filter(mine).select_related("owner").order_by("review_on", "created_at")


def _require_admin(club: Club, by: User) -> None:
    admins = Membership.objects.current().filter(club=club, role=Membership.Role.ADMIN)
    if not admins.filter(user=by).exists():
        raise PermissionDenied("only an admin of the club holds something, or ends a hold")


@transaction.atomic
def hold(
    *, club: Club, kind: str, pk: uuid.UUID, reason: str, review_on: dt.date, by: User
) -> Hold:
    """From now on nobody sees it and nothing deletes it. Held already with the same reason, it
    is the same hold. Raises HoldRefused."""
    _require_admin(club, by)
    model, path = OF_CLUB[kind]
    subject = model._base_manager.filter(**{path: club}, pk=pk).first()
    if subject is None:
        raise PermissionDenied("nothing of this club")
    if not reason.strip():
        raise HoldRefused(_("Say why it is held: whoever looks at it again has to know."))
    if review_on <= timezone.localdate():
        raise HoldRefused(_("Give a day to come on which you look at it again."))
    if Hold.objects.filter(subject_kind=kind, subject_id=pk, ended_at=None).exists():
        raise HoldRefused(_("This is held already. End that hold first, or leave it as it is."))
    row = Hold.objects.create(
        subject_kind=kind, subject_id=pk, reason=reason.strip(), owner=by, review_on=review_on
    )
    detail = {"hold": str(row.pk), "review_on": review_on.isoformat()}
    ledger.note_withdrawn(kind, pk, ledger.HOLD, by=by.pk)
    record(action="hold.begin", by=by, subject=subject, club=club, detail=detail)
    return row


@transaction.atomic
def end_hold(*, club: Club, pk: uuid.UUID, by: User) -> Hold:
    """What passed its date meanwhile goes with the next purge. Twice changes nothing."""
    _require_admin(club, by)
    row = holds_of(club).filter(pk=pk).select_for_update(of=("self",)).first()
    if row is None:
        raise PermissionDenied("no hold of this club")
    if row.ended_at is None:
        row.ended_at = timezone.now()
        row.save(update_fields=["ended_at"])
        model, _path = OF_CLUB[row.subject_kind]
        subject = model(pk=row.subject_id)
        detail = {"hold": str(row.pk)}
        ledger.note_withdrawn(row.subject_kind, row.subject_id, ledger.HOLD_ENDED)
        record(action="hold.end", by=by, subject=subject, club=club, detail=detail)
    return row


# --- in words -----------------------------------------------------------------------------------


def named(holds: Sequence[Hold]) -> dict[uuid.UUID, str]:
    """What each hold is about, in words for the club's admins. One query for each kind."""
    words: dict[uuid.UUID, str] = {}
    for kind, say in SAY.items():
        pks = [row.subject_id for row in holds if row.subject_kind == kind]
        if pks:
            words |= say(pks)
    return words


def _clinics(pks: list[uuid.UUID]) -> dict[uuid.UUID, str]:
    rows = Clinic.objects.filter(pk__in=pks)
    return {row.pk: _("all of %(clinic)s") % {"clinic": _clinic(row)} for row in rows}


def _clinic(clinic: Clinic) -> str:
    return f"{clinic.name}, {date_format(clinic.date, 'DATE_FORMAT')}"


def _swimmers(pks: list[uuid.UUID]) -> dict[uuid.UUID, str]:
    rows = Swimmer.objects.filter(pk__in=pks)
    return {row.pk: _("all of %(name)s") % {"name": row.name} for row in rows}


def _entries(pks: list[uuid.UUID]) -> dict[uuid.UUID, str]:
    rows = Entry.objects.filter(pk__in=pks).select_related("swimmer", "clinic")
    return {row.pk: f"{row.swimmer.name}, {_clinic(row.clinic)}" for row in rows}


def _swims(pks: list[uuid.UUID]) -> dict[uuid.UUID, str]:
    rows = Swim.objects.filter(pk__in=pks).select_related("entry__swimmer", "entry__clinic")
    return {row.pk: swim_in_words(row) for row in rows}


def swim_in_words(swim: Swim) -> str:
    told = {
        "name": swim.entry.swimmer.name,
        "clinic": _clinic(swim.entry.clinic),
        "go": swim.go,
    }
    return _("%(name)s, %(clinic)s, go %(go)s") % told


def _clips(pks: list[uuid.UUID]) -> dict[uuid.UUID, str]:
    rows = Clip.objects.filter(pk__in=pks)
    rows = rows.select_related("swim__entry__swimmer", "swim__entry__clinic", "station")
    return {row.pk: f"{swim_in_words(row.swim)}, {row.station.name}" for row in rows}


def _recordings(pks: list[uuid.UUID]) -> dict[uuid.UUID, str]:
    rows = Recording.objects.filter(pk__in=pks).select_related("station__clinic", "camera")
    return {row.pk: recording_in_words(row) for row in rows}


def recording_in_words(recording: Recording) -> str:
    told = {
        "station": recording.station.name,
        "camera": recording.camera.name,
        "order": recording.order,
        "clinic": _clinic(recording.station.clinic),
    }
    return _("recording %(order)s of %(station)s, %(camera)s, %(clinic)s") % told


SAY = {
    "clinics.Clinic": _clinics,
    "clinics.Swimmer": _swimmers,
    "clinics.Entry": _entries,
    "clinics.Swim": _swims,
    "clinics.Clip": _clips,
    "clinics.Recording": _recordings,
}
