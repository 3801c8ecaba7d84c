"""Resumable uploads: the state behind the open tus 1.0.0 protocol.

The bytes lie in a part file (upload_parts.py) and are flushed to disk before the row says that
they are here. When the last file of a card has come, all of them are taken in (upload_cards.py).
"""

from __future__ import annotations

import contextlib
import datetime as dt
import os
import time
import uuid
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from django.conf import settings
from django.db import transaction
from django.db.models import F, Sum
from django.utils import timezone

from clinics.actions.bring_in import NAME_CHARS
from clinics.actions.space import check_room
from clinics.actions.upload_cards import ask_to_take_in, mark_complete
from clinics.actions.upload_parts import (
    Busy,
    locked,
    part_path,
    parts_kept,
    reconcile,
    told_when_full,
    write_all,
)
from clinics.models import Station, Upload
from portal.models import Club

if TYPE_CHECKING:
    from portal.models import User

CHUNK_BYTES = 256 * 1024
RECORD_EVERY_BYTES = 16 << 20  # flushed and recorded at least so often, so that
RECORD_EVERY_S = 2.0  # a connection that dies loses little


class WrongOffset(Exception):
    """The client believes another number of bytes to be here than there are."""


class TooMuch(Exception):
    """More bytes than the upload was said to have, or than is allowed."""


class Ended(Exception):
    """The owner gave the upload up while it was being written to."""


class Broken(Exception):
    """The connection ended before all announced bytes had come; what came is kept."""


@dataclass(frozen=True)
class Wanted:
    """What a client asks to send. Names are only ever shown, never used as paths."""

    name: str
    size_bytes: int
    camera_name: str = ""
    card: uuid.UUID | None = None
    card_files: int = 1
    modified_at: dt.datetime | None = None
    sha256: str = ""
    tus_metadata: str = ""


def begin(*, station: Station, wanted: Wanted, by: User) -> Upload:
    """Make room for one file. Raises TooMuch or NoRoom; nothing is left behind then."""
    if wanted.size_bytes > settings.UPLOAD_MAX_BYTES:
        raise TooMuch
    with transaction.atomic():
        club = Club.objects.select_for_update().get(pk=station.clinic.club_id)
        open_now = Upload.objects.filter(state=Upload.State.OPEN, expires_at__gt=timezone.now())
        promised = open_now.aggregate(left=Sum(F("size_bytes") - F("offset_bytes")))["left"] or 0
        check_room(
            club=club,
            more_bytes=wanted.size_bytes,
            on_disk_bytes=wanted.size_bytes + promised,
        )
        upload = Upload.objects.create(
            station=station,
            owner=by,
            name=wanted.name[:NAME_CHARS],
            size_bytes=wanted.size_bytes,
            camera_name=wanted.camera_name[:80],
            card=wanted.card or uuid.uuid4(),
            card_files=wanted.card_files,
            modified_at=wanted.modified_at,
            sha256_expected=wanted.sha256,
            tus_metadata=wanted.tus_metadata,
            expires_at=_expiry(station),
        )
        part_path(upload).open("xb").close()
        if wanted.size_bytes == 0:
            mark_complete(upload)
    return upload


def _expiry(station: Station) -> dt.datetime:
    return timezone.now() + parts_kept(station)


def take_over(
    *, station: Station, received: Sequence[tuple[Path, str]], camera_name: str, by: User
) -> list[Upload]:
    """Whole files that came with one plain form (pages without script): a card of their own."""
    card = uuid.uuid4()
    with transaction.atomic():
        made = [
            Upload.objects.create(
                station=station,
                owner=by,
                camera_name=camera_name[:80],
                name=name[:NAME_CHARS],
                size_bytes=path.stat().st_size,
                offset_bytes=path.stat().st_size,
                card=card,
                card_files=len(received),
                state=Upload.State.COMPLETE,
                expires_at=_expiry(station),
            )
            for path, name in received
        ]
        for upload, (path, _name) in zip(made, received, strict=True):
            path.rename(part_path(upload))
        if made:
            ask_to_take_in(upload=made[0])
    return made


def durable_offset(upload: Upload) -> int:
    """How many bytes are surely here. While another request writes: as last recorded."""
    if upload.state == Upload.State.OPEN:
        with contextlib.suppress(Busy), locked(upload) as part:
            reconcile(upload, part)
    return upload.offset_bytes


def append(*, upload: Upload, offset: int, length: int, read: Callable[[int], bytes]) -> Upload:
    """Write the `length` bytes that `read` gives from `offset` on; the upload with its new offset.

    Raises Busy, WrongOffset, TooMuch and NoRoom before anything is written; Broken, Ended, or
    NoRoom when the disk fills up meanwhile, after recording what is durable by then.
    """
    if upload.state != Upload.State.OPEN:
        if offset != upload.offset_bytes:
            raise WrongOffset
        if length:
            raise TooMuch
        return upload
    with locked(upload) as part:
        reconcile(upload, part)
        if offset != upload.offset_bytes:
            raise WrongOffset
        if length > upload.size_bytes - upload.offset_bytes:
            raise TooMuch
        club = upload.station.clinic.club
        check_room(club=club, more_bytes=0, on_disk_bytes=length)  # its size counts already
        _receive(upload, part, length, read)
    return upload


def _receive(upload: Upload, part: int, announced: int, read: Callable[[int], bytes]) -> None:
    """Copy from the connection to disk in pieces, recording durable bytes as they grow."""
    os.lseek(part, upload.offset_bytes, os.SEEK_SET)
    unrecorded, recorded_at, broken = 0, time.monotonic(), False
    while announced > 0:
        try:
            chunk = read(min(CHUNK_BYTES, announced))
        except OSError:  # reset, or silent for too long; what came before is good
            chunk = b""
        if not chunk:
            broken = True
            break
        with told_when_full(upload, part):
            write_all(part, chunk)
        announced -= len(chunk)
        unrecorded += len(chunk)
        if unrecorded >= RECORD_EVERY_BYTES or time.monotonic() - recorded_at > RECORD_EVERY_S:
            _record(upload, part, unrecorded)
            unrecorded, recorded_at = 0, time.monotonic()
    if unrecorded:
        _record(upload, part, unrecorded)
    if broken:
        raise Broken


def _record(upload: Upload, part: int, more_bytes: int) -> None:
    """Flush, then say so: in this order, so that the row never promises what is not there."""
    with told_when_full(upload, part):
        os.fsync(part)
        offset, expires_at = upload.offset_bytes + more_bytes, _expiry(upload.station)
        with transaction.atomic():
            mine = Upload.objects.filter(pk=upload.pk, state=Upload.State.OPEN)
            if mine.update(offset_bytes=offset, expires_at=expires_at) == 0:
                raise Ended
            upload.offset_bytes, upload.expires_at = offset, expires_at
            if offset == upload.size_bytes:
                mark_complete(upload)
