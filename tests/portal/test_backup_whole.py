"""A backup is whole or says what is not; a restore refuses what would do harm."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from django.test import Client
from django.utils import timezone

from portal.actions import audit, backup, backup_db, ledger, maintenance, safekeeping
from portal.actions import backup_manifest as manifests
from portal.actions.backup_manifest import BackupBroken
from portal.actions.files import area_root
from portal.actions.job_worker import claim
from portal.actions.jobs import enqueue
from portal.actions.restore import RestoreRefused, RestoreStopped, restore
from portal.actions.sweep import Sweeper
from portal.models import AuditEntry, Club, Job, StoredFile
from tests.cast import make_stored

pytestmark = pytest.mark.django_db(transaction=True)
ONE = "00000000-0000-4000-8000-000000000001"


@pytest.fixture(autouse=True)
def own_places(settings, tmp_path: Path) -> Iterator[None]:
    settings.LEDGER_FILE = tmp_path / "ledger" / "deletions.jsonl"
    settings.MAINTENANCE_FILE = tmp_path / "maintenance"
    yield


@pytest.fixture
def files(db: None) -> list[StoredFile]:
    club = Club.objects.create(slug="harbour", name="Harbour Lane Masters")
    audit.record(action="tried", by=None, club=club)
    media = [make_stored(club, bytes([n]) * 900, kind="poster", suffix=".jpg") for n in range(3)]
    return [*media, make_stored(club, b"x", kind="original", suffix=".mts", area="originals")]


@pytest.fixture
def made(files: list[StoredFile], tmp_path: Path) -> Path:
    ledger.note_deleted("clinics.Swim", ONE)
    backup.back_up(to=tmp_path / "backup")
    return tmp_path / "backup"


def test_backup_lists_every_file_with_size_and_hash(made: Path, files: list[StoredFile]) -> None:
    manifest = manifests.verify(made)
    listed = {(one.id, one.path, one.size_bytes, one.sha256) for one in manifest.files}
    assert listed == {(str(f.pk), f"media/{f.name}", f.size_bytes, f.sha256) for f in files[:3]}
    assert manifest.left_out == {"originals": 1} and manifest.audit["count"] == 1


def test_originals_come_along_when_asked_for(files: list[StoredFile], tmp_path: Path) -> None:
    manifest = backup.back_up(to=tmp_path / "all", originals=True)
    assert len(manifest.files) == 4 and manifest.left_out == {"originals": 0}


def test_keys_are_not_in_the_backup(made: Path, settings) -> None:
    for path in made.rglob("*"):
        for name in ("SECRET_KEY", "AUDIT_KEY", "FACTOR_KEY"):
            assert path.is_dir() or getattr(settings, name).encode() not in path.read_bytes()


@pytest.mark.parametrize("which", ["media", "database.", "manifest.json", "manifest.sha256"])
def test_flipped_byte_is_found_and_its_file_named(made: Path, which: str) -> None:
    names = sorted(p.relative_to(made).as_posix() for p in made.rglob("*") if p.is_file())
    name = next(name for name in names if name.startswith(which))
    content = bytearray((made / name).read_bytes())
    content[len(content) // 2] ^= 1
    (made / name).write_bytes(content)
    with pytest.raises(CommandError, match=name.partition(".sha")[0]) as found:
        call_command("backup", str(made), "--verify")
    assert found.value.returncode == 1
    with pytest.raises(BackupBroken):
        restore(folder=made, replace=True)
    assert not maintenance.is_on(), "nothing was touched"


@pytest.mark.parametrize(
    ("harm", "says"),
    [
        (lambda path, made: path.unlink(), "is missing"),
        (lambda path, made: path.write_bytes(b"short"), "has 5 bytes"),
        (lambda path, made: path.with_name("more.jpg").write_bytes(b""), "not in the manifest"),
        (
            lambda path, made: path.rename(made / "x") and path.symlink_to(made / "x"),
            "not a plain file",
        ),
    ],
)
def test_missing_short_added_and_linked_files_are_found(
    made: Path, harm: Callable[[Path, Path], object], says: str
) -> None:
    harm(made / manifests.read(made).files[0].path, made)
    with pytest.raises(BackupBroken, match=says):
        manifests.verify(made)


def test_manifest_cannot_lead_outside(made: Path, tmp_path: Path) -> None:
    told = json.loads((made / "manifest.json").read_text())
    told["files"][0]["path"] = "../ledger/deletions.jsonl"
    manifests.write(
        made,
        manifests.Manifest(
            **{
                **told,
                "database": manifests.Listed(**told["database"]),
                "files": [manifests.Listed(**one) for one in told["files"]],
            }
        ),
    )
    with pytest.raises(BackupBroken, match="outside"):
        manifests.verify(made)


def test_file_that_rotted_on_disk_is_named_and_the_rest_backed_up(
    files: list[StoredFile], tmp_path: Path
) -> None:
    files[1].local_path().write_bytes(b"something else")
    with pytest.raises(CommandError, match=files[1].name) as found:
        call_command("backup", str(tmp_path / "b"))
    assert found.value.returncode == 1
    assert len(manifests.verify(tmp_path / "b").files) == 2


def test_backup_goes_to_an_empty_folder_apart_from_the_files(
    files: list[StoredFile], tmp_path: Path
) -> None:
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "x").touch()
    for place in (tmp_path / "full", area_root("media") / "backup"):
        with pytest.raises(CommandError) as refused:
            call_command("backup", str(place))
        assert refused.value.returncode == 2
    assert [p.name for p in (tmp_path / "full").iterdir()] == ["x"]


def test_what_is_the_same_is_linked_to_the_earlier_backup(
    files: list[StoredFile], made: Path, tmp_path: Path
) -> None:
    later = make_stored(files[0].club, b"new", kind="poster", suffix=".jpg")
    manifest = backup.back_up(to=tmp_path / "later", like=made)
    links = {one.id: (tmp_path / "later" / one.path).stat().st_nlink for one in manifest.files}
    assert links == {str(f.pk): 2 for f in files[:3]} | {str(later.pk): 1}
    manifests.verify(tmp_path / "later")


def test_daily_backup_is_verified_and_old_ones_go(
    files: list[StoredFile], tmp_path: Path, settings, monkeypatch
) -> None:
    settings.BACKUPS_KEPT_DAYS = 30
    root = tmp_path / "daily"
    root.mkdir()
    (root / "notes").mkdir()
    today = timezone.now()
    for days in (31, 1, 0):
        day = today - dt.timedelta(days=days)
        monkeypatch.setattr(timezone, "now", lambda day=day: day)
        made = backup.back_up_daily(root=root)
    assert made.ended == [(today - dt.timedelta(days=31)).date().isoformat()]
    kept = sorted(path.name for path in root.iterdir())
    assert kept[-1] == "notes" and len(kept) == 3
    assert (made.folder / made.manifest.files[0].path).stat().st_nlink == 2
    with pytest.raises(backup.BackupRefused, match="already"):
        backup.back_up_daily(root=root)


# --- what a restore refuses -------------------------------------------------------------------


def refused(made: Path, says: str, **how: bool) -> None:
    with pytest.raises(RestoreRefused, match=says):
        restore(folder=made, **how)
    assert not maintenance.is_on() and Club.objects.exists(), "nothing was touched"


def test_full_target_is_refused_unless_told(made: Path) -> None:
    refused(made, "--replace")


def test_running_job_is_refused(made: Path) -> None:
    enqueue(kind="send-mail")
    assert claim("quick", "a worker") is not None
    refused(made, "Stop the workers", replace=True)


def test_missing_cut_or_broken_ledger_is_refused(made: Path, settings) -> None:
    path = Path(settings.LEDGER_FILE)
    whole = path.read_text()
    path.write_text(whole + "{\n")
    refused(made, "Line 2 of", replace=True)
    path.write_text("")
    refused(made, "older than the backup", replace=True)
    path.unlink()
    refused(made, "no deletion ledger", replace=True)


def test_other_keys_are_refused_by_name(made: Path, settings) -> None:
    settings.FACTOR_KEY = "another"
    refused(made, "FACTOR_KEY is another one", replace=True)


def test_backup_of_a_newer_release_is_refused(made: Path, monkeypatch) -> None:
    monkeypatch.setattr(manifests, "unknown_migrations", lambda manifest: ["clinics.9999_later"])
    refused(made, "newer release", replace=True)


# --- maintenance ------------------------------------------------------------------------------


def test_restore_that_stops_half_way_stays_in_maintenance(
    made: Path, client: Client, monkeypatch
) -> None:
    def full_disk(dump: Path) -> None:
        raise OSError("No space left on device")

    monkeypatch.setattr(backup_db, "put_back", full_disk)
    with pytest.raises(RestoreStopped, match="No space left"):
        restore(folder=made, replace=True)
    for url in ("/", "/sign-in/", "/swims/" + ONE + "/", "/health/live"):
        response = client.get(url)
        assert response.status_code == 503 and response["Retry-After"]
        assert "Back soon" in response.content.decode()
        assert "default-src 'none'" in response["Content-Security-Policy"]
    enqueue(kind="send-mail")
    assert claim("quick", "a worker") is None
    assert Sweeper().sweep() == {} and Job.objects.get().state == "waiting"
    with pytest.raises(CommandError, match="has not ended"):
        call_command("backup", str(made.with_name("next")))
    maintenance.end()
    assert client.get("/sign-in/").status_code == 200


# --- the health page ----------------------------------------------------------------------------


def test_health_says_when_the_last_backup_was_and_asks_a_real_site_for_one(
    files: list[StoredFile], tmp_path: Path, settings
) -> None:
    assert safekeeping.check_backup().ok
    settings.PRODUCTION = True
    assert not safekeeping.check_backup().ok
    backup.back_up(to=tmp_path / "b")
    assert safekeeping.check_backup().ok
    AuditEntry.objects.update(at=timezone.now() - dt.timedelta(days=3))
    assert not safekeeping.check_backup().ok


def test_ledger_that_cannot_be_written_is_red(settings, tmp_path: Path) -> None:
    assert safekeeping.check_ledger().ok
    Path(settings.LEDGER_FILE).unlink()
    Path(settings.LEDGER_FILE).mkdir()
    assert not safekeeping.check_ledger().ok
