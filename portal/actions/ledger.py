"""The deletion ledger: what a restore must not bring back.

A file of JSON lines that only grows. It lies outside what a backup copies, since a backup from
before a deletion knows nothing of it; keep a copy of it on another machine. It holds opaque ids,
hashes and purposes, never names or addresses. A line is written, and is on the disk, once the
transaction around has committed; whether the file can be written at all is asked before, so that
nothing is deleted that could not be noted. A machine that goes down in the very instant between the
commit and the line loses the line: an accepted limit of milliseconds.

    note_deleted("clinics.Swim", swim.pk)                    the row, or all that is in it, is gone
    note_deleted("portal.StoredFile", file.pk, file.sha256)  `portal.actions.files.remove` does this
    note_withdrawn("clinics.Swimmer", swimmer.pk, purpose)   a consent that ended
    note_withdrawn("clinics.Share", share.pk, "")            any row that has ended for good

`kind` is a model's label, `id` a UUID: numbers are given out again after a restore. What a restore
does with a line is `portal.actions.replay`'s.
"""

from __future__ import annotations

import fcntl
import hashlib
import json
import os
import uuid
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from functools import partial
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import transaction
from django.utils import timezone

from portal.ledger_line import Line

DELETED, WITHDRAWN = "deleted", "withdrawn"
WANTS_ERASURE, WANTS_NO_ERASURE = (
    "erase",
    "erase-no-more",
)  # purposes: hidden at once, and again not
HOLD, HOLD_ENDED = "hold", "hold-ended"  # likewise, of whatever is held
NOT_ME, MINOR = "not-me", "minor"  # purposes: out of sight at once


class LedgerBroken(Exception):
    """A line cannot be read; the sentence names it."""


def note_deleted(kind: str, id: Any, sha256: str = "") -> None:  # noqa: A002
    """Note, once this transaction commits, that something is gone for good."""
    _note(Line(at=_now(), what=DELETED, kind=kind, id=str(id), sha256=sha256))


def note_withdrawn(kind: str, id: Any, purpose: str, by: Any = "") -> None:  # noqa: A002
    """Note, once this transaction commits, that something agreed to or shown has ended."""
    line = Line(at=_now(), what=WITHDRAWN, kind=kind, id=str(id), purpose=purpose, by=str(by))
    _note(line)


def _now() -> str:
    return timezone.now().isoformat()


def _path() -> Path:
    return Path(settings.LEDGER_FILE)


def try_to_open() -> None:
    """Raises OSError if nothing can be noted."""
    _open().close()


def _note(line: Line) -> None:
    uuid.UUID(line.id)  # raises for what is no UUID
    try_to_open()  # raises here, while the change can still be taken back
    transaction.on_commit(partial(_append, line))


def _open() -> Any:
    """The file, to append to; made with its folder when it is the first line."""
    path = _path()
    path.parent.mkdir(parents=True, mode=0o700, exist_ok=True)  # another may make it just now
    is_new = not path.exists()
    descriptor = os.open(path, os.O_RDWR | os.O_APPEND | os.O_CREAT, 0o600)
    if is_new:
        _flush_folder(path.parent)
    return os.fdopen(descriptor, "ab", buffering=0)


def _flush_folder(folder: Path) -> None:
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def _append(line: Line) -> None:
    """One writer at a time; a line that a crash left unfinished is closed first."""
    text = json.dumps({k: v for k, v in asdict(line).items() if v}, separators=(",", ":")) + "\n"
    with _open() as ledger:
        fcntl.flock(ledger, fcntl.LOCK_EX)
        size = os.fstat(ledger.fileno()).st_size
        if size and os.pread(ledger.fileno(), 1, size - 1) != b"\n":
            text = "\n" + text
        ledger.write(text.encode())
        os.fsync(ledger.fileno())


def exists() -> bool:
    return _path().exists()


def lines() -> Iterator[Line]:
    """All that was noted, oldest first. Raises LedgerBroken, naming the line."""
    if not exists():
        return
    with _path().open(encoding="utf-8") as ledger:
        for number, text in enumerate(ledger, start=1):
            yield _read(number, text)


def _read(number: int, text: str) -> Line:
    try:
        line = Line(**json.loads(text))
        if line.what not in {DELETED, WITHDRAWN} or not line.kind or not line.id:
            raise ValueError(line.what)
        line.when  # noqa: B018  a date that cannot be read is a line that cannot be read
    except (ValueError, TypeError, AttributeError) as problem:
        raise LedgerBroken(f"Line {number} of {_path()} cannot be read.") from problem
    return line


@dataclass(frozen=True)
class Extent:
    """How far the ledger goes, and a hash of all of it: a later state of it begins so."""

    size_bytes: int
    sha256: str


def extent() -> Extent:
    text = _path().read_bytes() if exists() else b""
    return Extent(len(text), hashlib.sha256(text).hexdigest())


def goes_on_from(before: Extent) -> bool:
    """Is this ledger that one, or a later state of it? Else lines were cut off or changed."""
    text = _path().read_bytes()[: before.size_bytes] if exists() else b""
    return Extent(len(text), hashlib.sha256(text).hexdigest()) == before
