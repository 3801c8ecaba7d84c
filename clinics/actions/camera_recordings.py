"""A camera's recordings: which camera a card is of, which recording a file goes on with, when
a take began, and in which order they stand."""

from __future__ import annotations

import contextlib
import datetime as dt
import re

from django.utils.translation import gettext as _

from clinics.media.facts import FileFacts
from clinics.media.take import continues
from clinics.models import Camera, Clinic, Recording, Station
from portal.models import StoredFile

OLDEST_BELIEVABLE = dt.datetime(2000, 1, 1, tzinfo=dt.UTC)  # cameras without a clock say 1904


def camera_of(station: Station, name: str) -> Camera:
    """The camera by its name; without one, the station's first camera."""
    wanted = name.strip()[:80]
    if not wanted:
        first = station.cameras.order_by("name").first()
        if first is not None:
            return first
    return Camera.objects.get_or_create(station=station, name=wanted or _("Camera 1"))[0]


def continued_by(camera: Camera, facts: FileFacts, name: str) -> Recording | None:
    """The recording that such a file goes on with, if the camera's earlier card ended in it; it
    waits to be indexed anew.

    Only at its end: put before its beginning, a file would move media_s = 0 under what people
    have placed. Such a file stays a recording of its own.
    """
    for recording in camera.recordings.exclude(state=Recording.State.FAILED):
        last = recording.files.select_related("stored").last()
        if last is None or not last.facts or last.stored.state != StoredFile.State.READY:
            continue
        goes_on = continues(
            FileFacts.from_dict(last.facts), facts, previous_name=last.name, following_name=name
        )
        if goes_on:
            Recording.objects.filter(pk=recording.pk).update(state=Recording.State.WAITING)
            recording.state = Recording.State.WAITING
            return recording
    return None


def began_at(first: FileFacts, closed_at: dt.datetime | None, clinic: Clinic) -> dt.datetime | None:
    """When the take began, as its files say: written in the file, or from the file's date,
    which is when the camera closed it."""
    with contextlib.suppress(ValueError):
        said = dt.datetime.fromisoformat((first.created_at or "").replace("Z", "+00:00"))
        said = said if said.tzinfo else said.replace(tzinfo=clinic.zone)
        if said > OLDEST_BELIEVABLE:
            return said
    return closed_at - dt.timedelta(seconds=first.duration_s) if closed_at else None


def put_in_order(camera: Camera) -> None:
    """Number the camera's recordings by date if all have one of their own, else by name."""
    rows = list(camera.recordings.prefetch_related("files"))
    dates = {row.file_date for row in rows}
    if None not in dates and len(dates) == len(rows):
        rows.sort(key=lambda row: row.file_date or OLDEST_BELIEVABLE)
    else:
        rows.sort(key=lambda row: _natural(row.files.all()[0].name if row.files.all() else ""))
    if [row.order for row in rows] == list(range(1, len(rows) + 1)):
        return
    beyond = max(row.order for row in rows) + len(rows)
    for first in (beyond + 1, 1):  # twice, since no two may have the same number in between
        for number, row in enumerate(rows, start=first):
            Recording.objects.filter(pk=row.pk).update(order=number)


def _natural(name: str) -> list[tuple[int, str]]:
    """CLIP9 before CLIP10."""
    return [
        (int(part), "") if part.isdecimal() else (-1, part)
        for part in re.split(r"(\d+)", name.casefold())
    ]
