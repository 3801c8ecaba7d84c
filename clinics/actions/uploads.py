"""Resumable uploads: the state behind the open tus 1.0.0 protocol (trust 13 to 15).

The bytes lie in a part file named by the upload's id. What the database calls the offset
is durable: the bytes are flushed to disk before the row says so. A part file that is longer
than the row says (the process died in between) is cut back before anything else happens.
Of several requests that write to one upload, the holder of the part file's lock goes on.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import errno
import fcntl
import os
import time
import uuid
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from django.conf import settings
from django.db import OperationalError, transaction
from django.db.models import F, QuerySet, Sum
from django.utils import timezone
from django.utils.translation import gettext as _

from clinics.actions import bring_in
from clinics.actions.bring_in import Incoming, NoRoom, Outcome, check_room
from clinics.actions.keeping_rules import rules_of
from clinics.models import Station, Upload
from portal.actions import audit
from portal.actions.jobs import enqueue
from portal.models import Club

if TYPE_CHECKING:
    from portal.models import Job, User

CHUNK_BYTES = 256 * 1024
RECORD_EVERY_BYTES = 16 << 20  # flushed and recorded at least so often, so that
RECORD_EVERY_S = 2.0  # a connection that dies loses little
STRAY_OLD_S = 86_400.0
FULL = {errno.ENOSPC, errno.EDQUOT}


class WrongOffset(Exception):
    """The client believes another number of bytes to be here than there are."""


class Busy(Exception):
    """Another request is writing to this upload at the moment."""


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


def part_path(upload: Upload) -> Path:
    return Path(settings.UPLOADS_DIR) / f"{upload.pk}.part"


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
            name=wanted.name[: bring_in.NAME_CHARS],
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
            _complete(upload)
    return upload


def _expiry(station: Station) -> dt.datetime:
    return timezone.now() + _parts_kept(station)


def _parts_kept(station: Station) -> dt.timedelta:
    """As long as the club says. Asks for the station's clinic."""
    return dt.timedelta(days=rules_of(station.clinic.club_id).upload_parts_days)


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
                name=name[: bring_in.NAME_CHARS],
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


def is_gone(upload: Upload) -> bool:
    """Ended by its owner, or not sent to for so long that it expired."""
    expired = upload.state == Upload.State.OPEN and upload.expires_at <= timezone.now()
    return expired or upload.state == Upload.State.ENDED


@contextlib.contextmanager
def _locked(upload: Upload) -> Iterator[int]:
    """A descriptor of the part file, ours alone until the end; Busy if another request has it."""
    part = os.open(part_path(upload), os.O_RDWR | os.O_CREAT, 0o600)
    try:
        fcntl.flock(part, fcntl.LOCK_EX | fcntl.LOCK_NB)
        yield part
    except BlockingIOError:
        raise Busy from None
    finally:
        os.close(part)


def _reconcile(upload: Upload, part: int) -> None:
    """Make row and part file agree on what is surely on disk."""
    upload.refresh_from_db()
    if upload.state != Upload.State.OPEN:
        return
    size = os.fstat(part).st_size
    if size > upload.offset_bytes:
        os.ftruncate(part, upload.offset_bytes)
    elif size < upload.offset_bytes:  # the disk lost what it had said it had
        Upload.objects.filter(pk=upload.pk).update(offset_bytes=size)
        upload.offset_bytes = size


def durable_offset(upload: Upload) -> int:
    """How many bytes are surely here. While another request writes: as last recorded."""
    if upload.state == Upload.State.OPEN:
        with contextlib.suppress(Busy), _locked(upload) as part:
            _reconcile(upload, part)
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
    with _locked(upload) as part:
        _reconcile(upload, part)
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
        with _told_when_full(upload, part):
            _write_all(part, chunk)
        announced -= len(chunk)
        unrecorded += len(chunk)
        if unrecorded >= RECORD_EVERY_BYTES or time.monotonic() - recorded_at > RECORD_EVERY_S:
            _record(upload, part, unrecorded)
            unrecorded, recorded_at = 0, time.monotonic()
    if unrecorded:
        _record(upload, part, unrecorded)
    if broken:
        raise Broken


def _write_all(part: int, chunk: bytes) -> None:
    left = memoryview(chunk)
    while left:
        left = left[os.write(part, left) :]


@contextlib.contextmanager
def _told_when_full(upload: Upload, part: int) -> Iterator[None]:
    """A full disk (or database) as NoRoom, the file cut back to what the row says."""
    try:
        yield
    except OSError as problem:
        if problem.errno not in FULL:
            raise
        full: Exception = problem
    except OperationalError as problem:
        if "full" not in str(problem):
            raise
        full = problem
    else:
        return
    upload.refresh_from_db()
    os.ftruncate(part, upload.offset_bytes)
    raise NoRoom(str(full)) from full


def _record(upload: Upload, part: int, more_bytes: int) -> None:
    """Flush, then say so: in this order, so that the row never promises what is not there."""
    with _told_when_full(upload, part):
        os.fsync(part)
        offset, expires_at = upload.offset_bytes + more_bytes, _expiry(upload.station)
        with transaction.atomic():
            mine = Upload.objects.filter(pk=upload.pk, state=Upload.State.OPEN)
            if mine.update(offset_bytes=offset, expires_at=expires_at) == 0:
                raise Ended
            upload.offset_bytes, upload.expires_at = offset, expires_at
            if offset == upload.size_bytes:
                _complete(upload)


def end(*, upload: Upload, by: User) -> None:
    """Give up an upload and delete its bytes. One that is taken in stays as it is."""
    unfinished = [Upload.State.OPEN, Upload.State.COMPLETE, Upload.State.REFUSED]
    with transaction.atomic():
        rows = Upload.objects.filter(pk=upload.pk, state__in=unfinished)
        if rows.update(state=Upload.State.ENDED) == 0:
            return
        upload.state = Upload.State.ENDED
        audit.record(action="upload.end", by=by, subject=upload, club=upload.station.clinic.club)
        _ask_when_card_is_here(upload)
    part_path(upload).unlink(missing_ok=True)


def end_expired(*, at_most: int = 200) -> int:
    """Delete what nobody went on sending: for the sweep. How many uploads or files went.

    Files that are here whole, but of a card of which the rest never came, are not thrown away
    unasked: after the same time they are taken in as they are.
    """
    late = Upload.objects.filter(state=Upload.State.OPEN, expires_at__lte=timezone.now())
    ended = 0
    for upload in late.order_by("expires_at")[:at_most]:
        ended += Upload.objects.filter(
            pk=upload.pk, state=Upload.State.OPEN, expires_at__lte=timezone.now()
        ).update(state=Upload.State.ENDED)
        part_path(upload).unlink(missing_ok=True)
    return ended + _end_forgotten(at_most) + _remove_strays()


def _end_forgotten(at_most: int) -> int:
    now = timezone.now()
    late = Upload.objects.filter(state=Upload.State.COMPLETE, expires_at__lte=now)
    ended = 0
    for upload in late.select_related("station__clinic").order_by("expires_at")[:at_most]:
        given = _parts_kept(upload.station)
        if upload.station.clinic.state != "closed" and upload.expires_at + given > now:
            ask_to_take_in(upload=upload)
            continue
        reason = _("It was never taken in, and too much time has passed. Bring it in again.")
        ended += late.filter(pk=upload.pk).update(state=Upload.State.REFUSED, reason=reason)
        part_path(upload).unlink(missing_ok=True)
    return ended


def _remove_strays() -> int:
    """Files in the folder that no upload will go on with, once they are old."""
    folder = Path(settings.UPLOADS_DIR)
    before = time.time() - STRAY_OLD_S
    old = [path for path in folder.glob("*") if path.is_file() and path.stat().st_mtime < before]
    going_on = [Upload.State.OPEN, Upload.State.COMPLETE]
    known = {part_path(row) for row in Upload.objects.filter(state__in=going_on)} if old else set()
    strays = [path for path in old if path not in known]
    for path in strays:
        path.unlink(missing_ok=True)
    return len(strays)


# --- cards -----------------------------------------------------------------------------------


def _complete(upload: Upload) -> None:
    Upload.objects.filter(pk=upload.pk, state=Upload.State.OPEN).update(state=Upload.State.COMPLETE)
    upload.state = Upload.State.COMPLETE
    _ask_when_card_is_here(upload)


def card_of(upload: Upload) -> QuerySet[Upload]:
    """The uploads of the same card, this one among them."""
    return Upload.objects.filter(
        card=upload.card, owner_id=upload.owner_id, station_id=upload.station_id
    )


def _ask_when_card_is_here(upload: Upload) -> None:
    """Ask for the taking in once every file of the card has come (or was given up)."""
    card = list(card_of(upload))
    expected = max(row.card_files for row in card)
    sending = any(row.state == Upload.State.OPEN for row in card)
    if len(card) >= expected and not sending:
        ask_to_take_in(upload=upload)


def ask_to_take_in(*, upload: Upload) -> Job | None:
    """Take in what has come of this upload's card, all of it or not; None: nothing has."""
    if not card_of(upload).filter(state=Upload.State.COMPLETE).exists():
        return None
    return enqueue(
        kind="take-in",
        subject=card_of(upload).earliest("created_at", "pk"),
        asked_by=upload.owner,
        priority=bring_in.TAKE_IN_PRIORITY,
    )


def take_in_card(job: Job, pulse: Callable[..., None]) -> None:
    """The job: what has come of a card becomes recordings. May run twice."""
    first = Upload.objects.select_related("station__clinic__club", "owner").get(
        pk=str(job.subject_id)
    )
    _finish_earlier_try(first)
    complete = card_of(first).filter(state=Upload.State.COMPLETE).order_by("name", "pk")
    outcomes = bring_in.take_in(
        station=first.station,
        incoming=[Incoming(part_path(row), row.name, row.modified_at, row) for row in complete],
        camera_name=first.camera_name,
        by=first.owner,
        copy=False,
        pulse=pulse,
    )
    for outcome in outcomes:
        _settle(outcome)


def _finish_earlier_try(first: Upload) -> None:
    """An earlier try may have ended after publishing: read back, ask for the index, tidy up."""
    taken = card_of(first).filter(state=Upload.State.TAKEN).select_related("recording")
    recordings = {row.recording_id: row.recording for row in taken if row.recording}
    bring_in.verify_and_ask(recordings=list(recordings.values()), by=first.owner)
    for row in taken:
        part_path(row).unlink(missing_ok=True)


def _settle(outcome: Outcome) -> None:
    """Write down what became of an upload; its part file is not needed any more."""
    upload = outcome.incoming.upload
    if upload is None:
        return
    refused = outcome.state == "refused"
    Upload.objects.filter(pk=upload.pk).update(
        state=Upload.State.REFUSED if refused else Upload.State.TAKEN,
        recording=outcome.recording,
        reason=outcome.reason,
        sha256=outcome.sha256,
    )
    part_path(upload).unlink(missing_ok=True)
