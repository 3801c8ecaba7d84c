"""The part file of an upload: where its bytes lie until they are a recording.

What the database calls the offset is durable. A part file that is longer than the row says (the
process died in between) is cut back before anything else happens. Of several requests that write
to one upload, the holder of the part file's lock goes on.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import errno
import fcntl
import os
from collections.abc import Iterator
from pathlib import Path

from django.conf import settings
from django.db import OperationalError

from clinics.actions.keeping_rules import rules_of
from clinics.actions.space import NoRoom
from clinics.models import Station, Upload

FULL = {errno.ENOSPC, errno.EDQUOT}


class Busy(Exception):
    """Another request is writing to this upload at the moment."""


def part_path(upload: Upload) -> Path:
    return Path(settings.UPLOADS_DIR) / f"{upload.pk}.part"


def parts_kept(station: Station) -> dt.timedelta:
    """For how long: what the club says. Asks for the station's clinic."""
    return dt.timedelta(days=rules_of(station.clinic.club_id).upload_parts_days)


@contextlib.contextmanager
def locked(upload: Upload) -> Iterator[int]:
    """A descriptor of the part file, ours alone until the end; Busy if another request has it."""
    part = os.open(part_path(upload), os.O_RDWR | os.O_CREAT, 0o600)
    try:
        fcntl.flock(part, fcntl.LOCK_EX | fcntl.LOCK_NB)
        yield part
    except BlockingIOError:
        raise Busy from None
    finally:
        os.close(part)


def reconcile(upload: Upload, part: int) -> None:
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


def write_all(part: int, chunk: bytes) -> None:
    left = memoryview(chunk)
    while left:
        left = left[os.write(part, left) :]


@contextlib.contextmanager
def told_when_full(upload: Upload, part: int) -> Iterator[None]:
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
