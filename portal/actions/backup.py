"""Backing up: the database, then the files that it names, then the manifest.

Originals are left out unless asked for: they are large, and go 30 days after a clinic is closed.
The keys in the environment and the deletion ledger are never part of it.
"""

from __future__ import annotations

import datetime as dt
import os
import re
import shutil
import uuid
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from pathlib import Path

from django.conf import settings
from django.db import connection
from django.utils import timezone

from portal.actions import audit, backup_db, ledger, maintenance
from portal.actions import backup_manifest as manifests
from portal.actions.backup_manifest import BackupBroken, Listed, Manifest
from portal.actions.files import area_root, flush, hash_file
from portal.models import StoredFile

FILES_SQL = (
    "SELECT id, area, name, size_bytes, sha256 FROM portal_storedfile "
    "WHERE state = 'ready' ORDER BY area, name"
)
DAY_FOLDER = re.compile(r"\A\d{4}-\d{2}-\d{2}\Z")


class BackupRefused(Exception):
    """It cannot be made here; the sentence says why and what to do."""


@dataclass(frozen=True)
class Row:
    """A stored file as the snapshot knows it."""

    id: uuid.UUID
    area: str
    name: str
    size_bytes: int
    sha256: str

    @property
    def path(self) -> str:
        return f"{self.area}/{self.name}"


def back_up(*, to: Path, originals: bool = False, like: Path | None = None) -> Manifest:
    """Make a backup in the empty folder `to`. What is the same in the backup `like` is linked to
    it and takes no room. Files that are not as their rows say are named in `missing`."""
    _refuse_bad_place(to)
    to.mkdir(parents=True, exist_ok=True, mode=0o700)
    begun = timezone.now()
    checked = audit.verify_chain()
    known = {one.sha256: like / one.path for one in manifests.read(like).files} if like else {}
    noted = ledger.extent()
    database = to / backup_db.DATABASE[connection.vendor]
    with backup_db.snapshot(database) as ask:
        rows = [Row(uuid.UUID(str(pk)), *rest) for pk, *rest in ask(FILES_SQL)]
        migrations = [
            f"{app}.{name}" for app, name in ask("SELECT app, name FROM django_migrations")
        ]
        last = ask("SELECT seq, mac FROM portal_auditentry ORDER BY seq DESC LIMIT 1")
    flush(database)
    wanted = [row for row in rows if originals or row.area != StoredFile.Area.ORIGINALS]
    copied, missing = _copy_all(wanted, to, known)
    seq, mac = last[0] if last else (0, audit.GENESIS)
    manifest = Manifest(
        made_at=begun.isoformat(),
        engine=connection.vendor,
        database=Listed(database.name, database.stat().st_size, hash_file(database)),
        migrations=sorted(migrations),
        keys=manifests.which_keys(),
        audit={"count": seq, "head": mac, "whole": checked.broken_at is None},
        ledger=asdict(noted),
        files=copied,
        left_out={"originals": len(rows) - len(wanted)},
        missing=missing,
    )
    manifests.write(to, manifest)
    audit.record(
        action="backup.make",
        by=None,
        detail={"files": len(copied), "missing": len(missing), "originals": originals},
    )
    return manifest


def _refuse_bad_place(to: Path) -> None:
    if maintenance.is_on():
        raise BackupRefused("A restore has not ended: what is there now is not to be backed up.")
    if to.exists() and (not to.is_dir() or any(to.iterdir())):
        raise BackupRefused(f"{to} is not empty. Name a folder that is new or empty.")
    for area in StoredFile.Area.values:
        if to.resolve().is_relative_to(area_root(area).resolve()):
            raise BackupRefused(f"{to} lies among the files that are backed up. Name another one.")


def _copy_all(rows: list[Row], to: Path, known: dict[str, Path]) -> tuple[list[Listed], list[str]]:
    copied, missing = [], []
    for row in rows:
        if _link(row, to, known) or _copy(row, to):
            copied.append(Listed(row.path, row.size_bytes, row.sha256, str(row.id)))
        elif StoredFile.objects.filter(pk=row.id, state=StoredFile.State.READY).exists():
            missing.append(row.path)  # else it was deleted meanwhile, as it should
    for folder in {(to / one.path).parent for one in copied}:
        flush(folder)
    return copied, missing


def _link(row: Row, to: Path, known: dict[str, Path]) -> bool:
    """The same bytes from an earlier backup, if they are still that."""
    earlier = known.get(row.sha256)
    if earlier is None or not earlier.is_file() or hash_file(earlier) != row.sha256:
        return False
    (to / row.path).parent.mkdir(parents=True, exist_ok=True)
    try:
        os.link(earlier, to / row.path)
    except OSError:  # another disk, or one that knows no links
        return False
    return True


def _copy(row: Row, to: Path) -> bool:
    """False: it is not there, or not what its row says."""
    target = to / row.path
    target.parent.mkdir(parents=True, exist_ok=True)
    try:
        shutil.copyfile(area_root(row.area) / row.name, target)
    except FileNotFoundError:
        return False
    if target.stat().st_size != row.size_bytes or hash_file(target) != row.sha256:
        target.unlink()
        return False
    flush(target)
    return True


# --- every day --------------------------------------------------------------------------------


@dataclass(frozen=True)
class Daily:
    folder: Path
    manifest: Manifest
    ended: list[str]


def back_up_daily(*, root: Path, originals: bool = False) -> Daily:
    """A folder for today, linked to the newest before it, verified; then the old ones go: what
    was erased stays in a backup until that goes."""
    today = timezone.now().date()
    folder = root / today.isoformat()
    if (folder / manifests.SEAL).exists():
        raise BackupRefused(f"{folder} is there already.")
    shutil.rmtree(folder, ignore_errors=True)  # what an interrupted run left
    earlier = max(_whole_days(root), default=None)
    manifest = back_up(to=folder, originals=originals, like=earlier)
    manifests.verify(folder)
    return Daily(folder, manifest, _end_old(root, today))


def _whole_days(root: Path) -> Iterator[Path]:
    for path in root.glob("*-*-*"):
        if DAY_FOLDER.match(path.name) and (path / manifests.SEAL).is_file():
            try:
                manifests.read(path)
            except BackupBroken:
                continue
            yield path


def _end_old(root: Path, today: dt.date) -> list[str]:
    first_kept = today - dt.timedelta(days=settings.BACKUPS_KEPT_DAYS)
    days = sorted(path for path in root.iterdir() if DAY_FOLDER.match(path.name))
    old = [path for path in days if path.name < first_kept.isoformat()]
    for path in old:
        shutil.rmtree(path)
    return [path.name for path in old]
