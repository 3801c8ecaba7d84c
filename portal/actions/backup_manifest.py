"""What a backup consists of: every file with its size and SHA-256.

`manifest.json` lists them, `manifest.sha256` is the hash of that list, written last: a folder
without it is no backup. Whoever verifies is told the first file that is not as it was.
"""

from __future__ import annotations

import hashlib
import hmac
import json
import stat
from collections.abc import Iterator
from dataclasses import asdict, dataclass, field
from pathlib import Path, PurePosixPath
from typing import Any

from django.conf import settings
from django.db.migrations.loader import MigrationLoader

from portal.actions.files import flush, hash_file

MANIFEST, SEAL = "manifest.json", "manifest.sha256"
FORMAT = 1
KEYS = ("AUDIT_KEY", "FACTOR_KEY")  # what is in the database is of no use without these two


class BackupBroken(Exception):
    """The backup is not as it was made; the sentence names the first file that is wrong."""


@dataclass(frozen=True)
class Listed:
    """One file of the backup. `id` is its row's; the database has none."""

    path: str
    size_bytes: int
    sha256: str
    id: str = ""


@dataclass(frozen=True)
class Manifest:
    made_at: str
    engine: str
    database: Listed
    migrations: list[str]
    keys: dict[str, str]  # which they were, not what they are
    audit: dict[str, Any]
    ledger: dict[str, Any]
    files: list[Listed] = field(default_factory=list)
    left_out: dict[str, int] = field(default_factory=dict)
    missing: list[str] = field(default_factory=list)
    format: int = FORMAT

    def listed(self) -> Iterator[Listed]:
        yield self.database
        yield from self.files


def which_keys() -> dict[str, str]:
    """Enough to tell whether a key is the same, and nothing that helps to find it."""
    return {
        name: hmac.new(getattr(settings, name).encode(), b"which key", "sha256").hexdigest()[:16]
        for name in KEYS
    }


def write(folder: Path, manifest: Manifest) -> None:
    text = json.dumps(asdict(manifest), indent=1, sort_keys=True).encode()
    for name, content in (
        (MANIFEST, text),
        (SEAL, f"{hashlib.sha256(text).hexdigest()}  {MANIFEST}\n".encode()),
    ):
        (folder / name).write_bytes(content)
        flush(folder / name)
    flush(folder)


def read(folder: Path) -> Manifest:
    """The manifest, if it is whole. Raises BackupBroken."""
    try:
        text = (folder / MANIFEST).read_bytes()
        seal = (folder / SEAL).read_text()
    except (FileNotFoundError, NotADirectoryError, UnicodeDecodeError) as problem:
        raise BackupBroken(
            f"{folder} is no whole backup: {MANIFEST} or {SEAL} is missing or unreadable."
        ) from problem
    if seal != f"{hashlib.sha256(text).hexdigest()}  {MANIFEST}\n":
        raise BackupBroken(f"{MANIFEST} was changed: it does not fit {SEAL}.")
    told = json.loads(text)
    if told["format"] != FORMAT:
        raise BackupBroken(f"{MANIFEST} has format {told['format']}; this release knows {FORMAT}.")
    return Manifest(
        **{
            **told,
            "database": Listed(**told["database"]),
            "files": [Listed(**one) for one in told["files"]],
        }
    )


def verify(folder: Path) -> Manifest:
    """Read every byte. Raises BackupBroken with the first file that is wrong."""
    manifest = read(folder)
    for one in manifest.listed():
        _verify_file(folder, one)
    known = {one.path for one in manifest.listed()} | {MANIFEST, SEAL}
    for path in sorted(folder.rglob("*")):
        name = path.relative_to(folder).as_posix()
        if name not in known and not (path.is_dir() and not path.is_symlink()):
            raise BackupBroken(f"{name} is not in the manifest.")
    return manifest


def _verify_file(folder: Path, one: Listed) -> None:
    pure = PurePosixPath(one.path)
    if pure.is_absolute() or ".." in pure.parts:
        raise BackupBroken(f"{one.path} lies outside the backup.")
    path = folder / pure
    try:
        found = path.lstat()
    except OSError as problem:
        raise BackupBroken(f"{one.path} is missing.") from problem
    if not stat.S_ISREG(found.st_mode) or path.resolve() != folder.resolve() / pure:
        raise BackupBroken(f"{one.path} is not a plain file.")
    if found.st_size != one.size_bytes:
        raise BackupBroken(f"{one.path} has {found.st_size} bytes, not {one.size_bytes}.")
    if hash_file(path) != one.sha256:
        raise BackupBroken(f"{one.path} was changed: its SHA-256 is another.")


def unknown_migrations(manifest: Manifest) -> list[str]:
    """What the backup's database has and this release does not know: it is too old for it."""
    known = {f"{app}.{name}" for app, name in MigrationLoader(None).disk_migrations}
    return [name for name in manifest.migrations if name not in known]
