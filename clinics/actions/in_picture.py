"""Who can be recognised at a station over a span of time: tagged once, not clip by clip.

A tag lies on each recording of the station that was running then, in its own frames, so that a
better clock moves nothing that a person saw. It counts for every clip that reaches into it.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterable
from typing import TYPE_CHECKING

from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.utils.translation import gettext as _

from clinics.actions.check_rows import CheckRefused
from clinics.compute.time import media_s_at, media_s_to_ticks
from clinics.models import Clinic, Clip, Consent, InPicture, Recording, Swimmer
from clinics.privacy import FILM_AND_REVIEW
from portal.actions.audit import record

if TYPE_CHECKING:
    from clinics.models import Station
    from portal.models import User

LONGEST = dt.timedelta(hours=4)


@transaction.atomic
def tag(
    *, station: Station, swimmer: Swimmer, begin: dt.datetime, end: dt.datetime, by: User
) -> list[InPicture]:
    """The swimmer can be recognised at the station from `begin` to `end`, clinic time. One tag
    for each recording of that time; refused if there is none whose clock is found."""
    clinic = _checked(station.clinic_id, by)
    if swimmer.club_id != clinic.club_id:
        raise PermissionDenied("a swimmer of another club")
    if not begin < end <= begin + LONGEST:
        raise CheckRefused(_("The span must end after it begins, and within four hours."))
    rows = [
        InPicture(recording=recording, swimmer=swimmer, from_ticks=first, to_ticks=last)
        for recording in station.recordings.filter(state="ready").select_related("clock_fit")
        for first, last in _spans(recording, begin, end)
    ]
    if not rows:
        raise CheckRefused(
            _("No recording of %(station)s whose clock is found was running then.")
            % {"station": station.name}
        )
    return _keep(rows, clinic, by)


@transaction.atomic
def tag_in_clip(*, clip: Clip, swimmers: Iterable[Swimmer], by: User) -> list[InPicture]:
    """As long as a clip lasts, whatever its clock says."""
    clinic = _checked(clip.swim.entry.clinic_id, by)
    if not Clip.objects.handled_by(by).filter(pk=clip.pk).exists():
        raise PermissionDenied("only a checker who sees the clip may do this")
    others = list(swimmers)
    if any(other.club_id != clinic.club_id for other in others):
        raise PermissionDenied("a swimmer of another club")
    span = {"from_ticks": clip.in_ticks, "to_ticks": clip.out_ticks}
    rows = [InPicture(recording_id=clip.recording_id, swimmer=one, **span) for one in others]
    return _keep(rows, clinic, by)


def _keep(rows: list[InPicture], clinic: Clinic, by: User) -> list[InPicture]:
    """What is tagged already over the whole span is left as it is."""
    new = [row for row in rows if not _known(row)]
    for row in new:
        row.tagged_by = by
        row.save()
        told = {"swimmer": str(row.swimmer_id), "from": row.from_ticks, "to": row.to_ticks}
        record(action="in_picture.tag", by=by, subject=row, club=clinic.club, detail=told)
    return new


def _known(row: InPicture) -> bool:
    same = InPicture.objects.filter(recording_id=row.recording_id, swimmer_id=row.swimmer_id)
    return same.filter(from_ticks__lte=row.from_ticks, to_ticks__gte=row.to_ticks).exists()


@transaction.atomic
def untag(*, tagged: InPicture, by: User) -> None:
    """It was somebody else, or another span."""
    row = InPicture.objects.filter(pk=tagged.pk).select_related("recording__station").first()
    if row is None:
        return
    clinic = _checked(row.recording.station.clinic_id, by)
    told = {"swimmer": str(row.swimmer_id), "from": row.from_ticks, "to": row.to_ticks}
    record(action="in_picture.untag", by=by, subject=row, club=clinic.club, detail=told)
    row.delete()


def who_agrees(swimmers: Iterable[uuid.UUID]) -> set[uuid.UUID]:
    """Of these: who agrees to be filmed."""
    given = Consent.objects.filter(purpose=FILM_AND_REVIEW, ended_at__isnull=True)
    return set(given.filter(swimmer_id__in=set(swimmers)).values_list("swimmer_id", flat=True))


def _checked(clinic_id: uuid.UUID, by: User) -> Clinic:
    clinic = Clinic.objects.checked_by(by).filter(pk=clinic_id).select_related("club").first()
    if clinic is None:
        raise PermissionDenied("only a checker of the clinic may do this")
    if clinic.state == Clinic.State.CLOSED:
        raise CheckRefused(_("This clinic is closed; its swims and clips stay as they are."))
    return clinic


def _spans(recording: Recording, begin: dt.datetime, end: dt.datetime) -> list[tuple[int, int]]:
    """In the recording's ticks, as far as it lasts; nothing if it was not running, or its clock
    is not found."""
    fit = getattr(recording, "clock_fit", None)
    if fit is None or fit.zero_at is None:
        return []
    last_s = recording.duration_s or 0.0
    from_s = max(0.0, media_s_at(fit.zero_at, fit.rate_ppm, begin))
    to_s = min(last_s, media_s_at(fit.zero_at, fit.rate_ppm, end))
    first, last = media_s_to_ticks(from_s), media_s_to_ticks(to_s)
    return [(first, last)] if first < last else []
