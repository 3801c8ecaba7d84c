"""Putting a backup back, so that what was deleted stays gone and what was withdrawn stays
withdrawn.

All is verified before anything is touched. From then on the site is in maintenance, and leaves it
only when the ledger has been replayed: whatever fails in between leaves it closed.
"""

from __future__ import annotations

import datetime as dt
import shutil
from dataclasses import dataclass
from pathlib import Path

from allauth.usersessions.models import UserSession
from django.contrib.sessions.models import Session
from django.core.management import call_command
from django.db import connection, transaction
from django.utils import timezone

from portal.actions import audit, backup_db, ledger, maintenance
from portal.actions import backup_manifest as manifests
from portal.actions.backup_manifest import Listed, Manifest
from portal.actions.files import MARKER, area_root, flush, hash_file
from portal.actions.replay import Replayed, ReplayFailed, replay
from portal.models import AuditEntry, Club, Job, OutboxMail, SignInCode, StoredFile, User

WHAT_MAKES_IT_FULL = (User, Club, StoredFile, AuditEntry)


class RestoreRefused(Exception):
    """Nothing was touched; the sentence says why and what to do."""


class RestoreStopped(Exception):
    """It stopped half-way, and the site stays in maintenance; the sentence says what to do."""


@dataclass(frozen=True)
class Restored:
    files: int
    kept_out: int  # files that the ledger says were deleted
    replayed: Replayed


def restore(
    *, folder: Path, replace: bool = False, no_ledger: bool = False, keys_lost: bool = False
) -> Restored:
    """Raises BackupBroken (naming the first bad file), RestoreRefused, RestoreStopped."""
    manifest = manifests.verify(folder)
    _refuse_what_does_not_fit(manifest, keys_lost)
    _refuse_wrong_ledger(manifest, no_ledger)
    _refuse_full_target(replace)
    maintenance.begin(f"restoring {folder}")
    try:
        return _restore(folder, manifest, keys_lost)
    except Exception as problem:
        raise RestoreStopped(
            f"{problem}\nThe site stays in maintenance and shows nothing. Mend that, then run "
            "restore again with --replace."
        ) from problem


# --- before anything is touched ---------------------------------------------------------------


def _refuse_what_does_not_fit(manifest: Manifest, keys_lost: bool) -> None:
    if manifest.engine != connection.vendor:
        raise RestoreRefused(
            f"This is a backup of {manifest.engine}; DATABASE_URL names {connection.vendor}."
        )
    newer = manifests.unknown_migrations(manifest)
    if newer:
        raise RestoreRefused(f"The backup is of a newer release: this one knows no {newer[0]}.")
    now = manifests.which_keys()
    other = [name for name, which in manifest.keys.items() if now.get(name) != which]
    if other and not keys_lost:
        raise RestoreRefused(
            f"{other[0]} is another one than when the backup was made. Set the one from then. If "
            "it is lost, --keys-lost goes on: second factors are then set up anew, and entries of "
            "the audit trail from before can no longer be verified."
        )


def _refuse_wrong_ledger(manifest: Manifest, no_ledger: bool) -> None:
    if no_ledger:
        return
    if not ledger.exists():
        raise RestoreRefused(
            "There is no deletion ledger here (LEDGER_FILE). Copy it from where it is kept: "
            "without it, what was deleted and withdrawn since the backup would come back. "
            "--no-ledger goes on without."
        )
    if not ledger.goes_on_from(ledger.Extent(**manifest.ledger)):
        raise RestoreRefused(
            "The deletion ledger here is older than the backup, or another one (LEDGER_FILE)."
        )
    try:
        for _line in ledger.lines():
            pass
    except ledger.LedgerBroken as problem:
        raise RestoreRefused(f"{problem} Mend or remove that line first.") from problem


def _refuse_full_target(replace: bool) -> None:
    tables = set(connection.introspection.table_names())
    full = any(
        model._meta.db_table in tables and model._base_manager.exists()
        for model in WHAT_MAKES_IT_FULL
    )
    if full and not replace:
        raise RestoreRefused(
            "There is a site here already. --replace puts the backup in its place; what is newer "
            "than the backup is then lost."
        )
    running = Job.State.RUNNING
    if full and Job.objects.filter(state=running, lease_until__gt=timezone.now()).exists():
        raise RestoreRefused("A job is running. Stop the workers, then run restore again.")


# --- in maintenance ---------------------------------------------------------------------------


def _restore(folder: Path, manifest: Manifest, keys_lost: bool) -> Restored:
    gone = {
        line.id
        for line in ledger.lines()
        if (line.what, line.kind) == (ledger.DELETED, StoredFile._meta.label)
    }
    wanted = [one for one in manifest.files if one.id not in gone]
    for one in wanted:
        _put_file(folder, one)
    backup_db.put_back(folder / manifest.database.path)
    call_command("migrate", verbosity=0, interactive=False)
    _verify_trail(manifest, keys_lost)
    _forget_who_was_signed_in()
    replayed = replay(backup_at=dt.datetime.fromisoformat(manifest.made_at))
    told = Restored(len(wanted), len(manifest.files) - len(wanted), replayed)
    _note(manifest, told)
    backup_db.sweep_out()
    maintenance.end()
    return told


def _put_file(folder: Path, one: Listed) -> None:
    area, _slash, name = one.path.partition("/")
    root = area_root(area)
    target = root / name
    if target.is_file() and hash_file(target) == one.sha256:
        return
    target.parent.mkdir(parents=True, exist_ok=True)
    (root / MARKER).touch()  # so that files that were left out are noticed as lost
    half = target.with_name(f".{target.name}.half")
    shutil.copyfile(folder / one.path, half)
    flush(half)
    half.replace(target)
    flush(target.parent)


def _verify_trail(manifest: Manifest, keys_lost: bool) -> None:
    if keys_lost or not manifest.audit["whole"]:
        return
    found = audit.verify_chain()
    if (found.broken_at, found.count, found.head) != (
        None,
        manifest.audit["count"],
        manifest.audit["head"],
    ):
        raise ReplayFailed("The audit trail in the backup does not hold.")


@transaction.atomic
def _forget_who_was_signed_in() -> None:
    """A session that was ended since would be open again; a mail that waited would go out again."""
    for model in (UserSession, Session, SignInCode, OutboxMail):
        model._base_manager.all().delete()


def _note(manifest: Manifest, told: Restored) -> None:
    audit.record(
        action="backup.restore",
        by=None,
        detail={
            "made_at": manifest.made_at,
            "files": told.files,
            "kept_out": told.kept_out,
            "deleted": told.replayed.deleted,
            "withdrawn": told.replayed.withdrawn,
        },
    )
