"""Publishing and removing files."""

from __future__ import annotations

import datetime as dt
import hashlib
from pathlib import Path

import pytest
from django.db import transaction
from django.utils import timezone

from portal.actions.files import publish, remove, work_dir
from portal.models import AuditEntry, Club, StoredFile
from portal.registry import KeepingRule, keeping_rules

RULE = keeping_rules.register(
    KeepingRule("test-a-week", "A week", lambda file: file.created_at + dt.timedelta(days=7))
)
CONTENT = b"the bytes of a clip" * 1000


@pytest.fixture
def club(db: None) -> Club:
    return Club.objects.create(slug="harbour-lane-masters", name="Harbour Lane Masters")


def publish_one(club: Club, folder: Path, **changed: object) -> StoredFile:
    temporary = folder / "clip.part"
    temporary.write_bytes(CONTENT)
    told = {
        "temporary": temporary,
        "area": "media",
        "kind": "video",
        "club": club,
        "keeping_rule": RULE.name,
        "content_type": "video/mp4",
        "suffix": ".mp4",
    }
    return publish(**{**told, **changed})  # type: ignore[arg-type]


def test_publish_moves_the_file_and_tells_its_facts(club: Club) -> None:
    with work_dir("test") as folder:
        stored = publish_one(club, folder)
        assert not (folder / "clip.part").exists()
    assert stored.local_path().read_bytes() == CONTENT
    assert stored.sha256 == hashlib.sha256(CONTENT).hexdigest()
    assert stored.size_bytes == len(CONTENT)
    assert stored.delete_by is not None
    assert abs(stored.delete_by - timezone.now() - dt.timedelta(days=7)) < dt.timedelta(minutes=1)
    assert not folder.exists()


@pytest.mark.parametrize("mode", [0o600, 0o644])  # as an upload's part, and as ffmpeg makes it
def test_published_is_for_the_web_server_to_send_and_for_nobody_else(club: Club, mode: int) -> None:
    with work_dir("test") as folder:
        (folder / "clip.part").touch(mode)
        (folder / "clip.part").chmod(mode)
        stored = publish_one(club, folder)
    assert stored.local_path().stat().st_mode & 0o777 == 0o640


@pytest.mark.parametrize("area", ["media", "originals"])
@pytest.mark.django_db(transaction=True)
def test_publish_leaves_nothing_when_the_transaction_rolls_back(area: str) -> None:
    club = Club.objects.create(slug="quillmoor-tritons", name="Quillmoor Tritons")
    with work_dir("test") as folder:
        with pytest.raises(RuntimeError), transaction.atomic():
            gone = publish_one(club, folder, area=area).local_path()
            assert gone.exists()
            raise RuntimeError("after publishing")
        assert not gone.exists()
        with transaction.atomic():
            kept = publish_one(club, folder, area=area)
            with pytest.raises(RuntimeError), transaction.atomic():  # a savepoint alone
                gone = publish_one(club, folder, area=area).local_path()
                raise RuntimeError("after publishing")
            assert not gone.exists()
    assert kept.local_path().exists()
    assert list(StoredFile.objects.values_list("pk", flat=True)) == [kept.pk]


def test_publish_refuses_another_size_and_an_unknown_rule(club: Club) -> None:
    with work_dir("test") as folder:
        with pytest.raises(ValueError, match="19000 bytes, not 19001"):
            publish_one(club, folder, size_bytes=19001)
        with pytest.raises(LookupError, match="no keeping rule"):
            publish_one(club, folder, keeping_rule="for-ever")
    assert not StoredFile.objects.exists()


def test_remove_deletes_the_file_and_may_run_twice(club: Club) -> None:
    with work_dir("test") as folder:
        stored = publish_one(club, folder)
    assert remove(file=stored) is True
    assert not stored.local_path().exists()
    assert remove(file=stored) is False
    stored.refresh_from_db()
    assert (stored.state, stored.deleted_at is not None) == ("deleted", True)
    assert AuditEntry.objects.filter(action="file.remove").count() == 1
