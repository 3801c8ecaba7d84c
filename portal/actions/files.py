"""Files come onto the disk whole or not at all, and leave it for good."""

from __future__ import annotations

import contextlib
import hashlib
import logging
import os
import shutil
import tempfile
import uuid
import weakref
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from django.conf import settings
from django.core.files.storage import default_storage
from django.db import transaction
from django.utils import timezone

from portal.actions import audit, ledger
from portal.actions.job_runs import hold_current_job
from portal.models import StoredFile
from portal.registry import keeping_rules

if TYPE_CHECKING:
    from portal.models import Club, User

log = logging.getLogger("portal.files")

MARKER = ".sidelane"  # in the folder of an area: its disk is there, so a missing file is missing
CHUNK_BYTES = 1024 * 1024
FILE_MODE = 0o640  # of its group is the web server that sends it (nginx); of nobody else


def area_root(area: str) -> Path:
    """The folder on disk of an area."""
    if area == StoredFile.Area.ORIGINALS:
        return Path(settings.ORIGINALS_DIR)
    return Path(default_storage.path(""))


def publish(
    *,
    temporary: Path,
    area: str,
    kind: str,
    club: Club,
    keeping_rule: str,
    content_type: str,
    suffix: str,
    sha256: str | None = None,
    size_bytes: int | None = None,
) -> StoredFile:
    """Move a finished temporary file to its place and make its row.

    `temporary` lies below `settings.WORK_DIR` or `settings.UPLOADS_DIR`, on the same file
    system, so that the move is one rename; it is gone afterwards. Inside a job that was
    cancelled or lost this raises `JobStopped` and publishes nothing. If the transaction
    around rolls back, the file is removed again; a crash in between leaves a file without
    a row, which the sweep removes.
    """
    rule = keeping_rules.get(keeping_rule)
    size_bytes = temporary.stat().st_size if size_bytes is None else size_bytes
    if temporary.stat().st_size != size_bytes:
        raise ValueError(f"{temporary.name} has {temporary.stat().st_size} bytes, not {size_bytes}")
    sha256 = sha256 or hash_file(temporary)
    temporary.chmod(FILE_MODE)
    flush(temporary)
    file_id = uuid.uuid4()
    stored = StoredFile(
        id=file_id,
        club=club,
        area=area,
        kind=kind,
        name=f"{file_id.hex[:2]}/{file_id}{suffix}",
        content_type=content_type,
        size_bytes=size_bytes,
        sha256=sha256,
        keeping_rule=keeping_rule,
    )
    stored.delete_by = rule.delete_by(stored)
    path = area_root(area) / stored.name
    with transaction.atomic():
        hold_current_job()
        try:
            _move(temporary, path, area_root(area))
            stored.save(force_insert=True)
        except BaseException:
            path.unlink(missing_ok=True)
            raise
        _remove_on_rollback(path)
    return stored


def _move(temporary: Path, path: Path, root: Path) -> None:
    if not (root / MARKER).exists():
        root.mkdir(parents=True, exist_ok=True)
        (root / MARKER).touch()
        flush(root)
    if not path.parent.is_dir():
        path.parent.mkdir(parents=True, exist_ok=True)
        flush(root)
    os.utime(temporary)  # young: the sweep leaves young files without a row alone
    temporary.rename(path)
    flush(path.parent)


class _Kept:
    """Called on commit. Django drops it unheard when the transaction rolls back."""

    def __init__(self) -> None:
        self.state = {"committed": False, "pid": os.getpid()}

    def __call__(self) -> None:
        self.state["committed"] = True


def _remove_on_rollback(path: Path) -> None:
    """Django has no hook for a rollback; that it drops an on-commit callback is the sign."""
    kept = _Kept()
    weakref.finalize(kept, _remove_unless_committed, kept.state, path)
    transaction.on_commit(kept)


def _remove_unless_committed(state: dict[str, Any], path: Path) -> None:
    if not state["committed"] and state["pid"] == os.getpid():
        path.unlink(missing_ok=True)


@transaction.atomic
def remove(*, file: StoredFile, by: User | None = None) -> bool:
    """Delete the file from disk, then mark its row; False if that was done already.

    In this order, so that a row that says "deleted" never stands for a file that is there.
    """
    path = file.local_path()
    path.unlink(missing_ok=True)
    if path.parent.is_dir():
        flush(path.parent)
    now = timezone.now()
    ready = StoredFile.objects.filter(pk=file.pk, state=StoredFile.State.READY)
    if ready.update(state=StoredFile.State.DELETED, deleted_at=now) == 0:
        return False
    audit.record(
        action="file.remove", by=by, subject=file, club=file.club, detail={"kind": file.kind}
    )
    ledger.note_deleted(StoredFile._meta.label, file.pk, file.sha256)
    file.state, file.deleted_at = StoredFile.State.DELETED, now
    return True


@contextlib.contextmanager
def work_dir(prefix: str) -> Iterator[Path]:
    """A folder for temporaries, on the file system of the published files; gone afterwards."""
    Path(settings.WORK_DIR).mkdir(parents=True, exist_ok=True)
    folder = Path(tempfile.mkdtemp(prefix=f"{prefix}-", dir=settings.WORK_DIR))
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def forget_work(prefix: str) -> None:
    """What a worker that died left behind; a prefix with an id is of one thing alone."""
    for path in Path(settings.WORK_DIR).glob(f"{prefix}-*"):
        shutil.rmtree(path, ignore_errors=True)


def hash_file(path: Path) -> str:
    """SHA-256 in hex, read in pieces."""
    digest = hashlib.sha256()
    with path.open("rb") as source:
        while piece := source.read(CHUNK_BYTES):
            digest.update(piece)
    return digest.hexdigest()


def flush(path: Path) -> None:
    """Ask the disk to have it: the file's content, or the folder's names."""
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
