"""Deleting what is due: files of no other owner, holds, crashes, twice."""

from __future__ import annotations

import datetime as dt
import io
import json
import shutil
import uuid
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command
from django.db import transaction
from django.utils import timezone

from portal.actions import ledger, purge, sweep
from portal.actions.files import publish, work_dir
from portal.models import AuditEntry, Club, DueWarning, Hold, StoredFile, User
from portal.registry import Due, Gone, KeepingRule, PurgeStep, Registry, keeping_rules

RULE = keeping_rules.register(KeepingRule("test-purge", "Test", lambda file: None))
Make = Callable[..., StoredFile]


@pytest.fixture
def make(transactional_db: None, tmp_path: Path, settings: Any) -> Make:
    settings.WORK_DIR = tmp_path / "work"
    settings.ORIGINALS_DIR = tmp_path / "originals"
    settings.MEDIA_ROOT = tmp_path / "media"
    settings.LEDGER_FILE = tmp_path / "elsewhere" / "deletions.jsonl"
    club = Club.objects.create(slug="harbour-lane", name="Harbour Lane Masters")

    def make_file(*, days: float, content: str = "seen by nobody") -> StoredFile:
        with work_dir("test") as folder:
            (folder / "part").write_text(content)
            stored = publish(
                temporary=folder / "part",
                area="media",
                kind="test",
                club=club,
                keeping_rule=RULE.name,
                content_type="text/plain",
                suffix=".txt",
            )
        stored.delete_by = timezone.now() + dt.timedelta(days=days)
        stored.save(update_fields=["delete_by"])
        return stored

    return make_file


def gone(stored: StoredFile) -> bool:
    """From the disk, and said so by its row and by the ledger."""
    row = StoredFile.objects.get(pk=stored.pk)
    noted = str(stored.pk) in {line.id for line in ledger.lines()}
    assert (row.state == "deleted") == noted == (not stored.local_path().exists())
    return noted


def hold(stored: StoredFile) -> Hold:
    owner = User.objects.create_user(f"{uuid.uuid4()}@harbourlane.example", "Mara Lindqvist")
    return Hold.objects.create(
        subject_kind="portal.StoredFile",
        subject_id=stored.pk,
        reason="asked for by the pool's insurer",
        owner=owner,
        review_on=timezone.localdate(),
    )


def test_what_is_due_goes_and_the_rest_stays(make: Make) -> None:
    due, later = make(days=-1), make(days=1)
    [report] = [one for one in purge.purge() if one.step.name == "files"]
    assert [one.id for one in report.due] == [due.pk]
    assert (report.files, report.size_bytes) == (1, due.size_bytes)
    assert gone(due) and not gone(later)
    [entry] = AuditEntry.objects.filter(action="purge.file")
    assert json.loads(entry.text)["detail"]["kind"] == "test"


def test_a_second_purge_finds_nothing_and_writes_nothing(make: Make) -> None:
    make(days=-1)
    assert purge.sweep() == 1
    before = AuditEntry.objects.count(), len(list(ledger.lines()))
    assert purge.sweep() == 0
    assert (AuditEntry.objects.count(), len(list(ledger.lines()))) == before


def test_a_look_changes_nothing_and_says_the_same_as_the_purge(make: Make) -> None:
    due, held = make(days=-1), make(days=-1)
    hold(held)
    looked, printed = purge.look(), io.StringIO()
    call_command("purge", "--dry-run", "--json", stdout=printed)
    told = json.loads(printed.getvalue())
    assert told["dry_run"] and told["files"] == 1 and told["size_bytes"] == due.size_bytes
    [step] = [one for one in told["steps"] if one["name"] == "files"]
    assert (step["held"], [one["id"] for one in step["items"]]) == (1, [str(due.pk)])
    assert not gone(due) and not gone(held)
    done = purge.purge()
    for before, after in zip(looked, done, strict=True):
        assert [one.id for one in before.due] == [one.id for one in after.due]


def test_what_is_held_stays_until_the_hold_ends(make: Make) -> None:
    stored = make(days=-1)
    kept = hold(stored)
    assert purge.sweep() == 0 and not gone(stored)
    Hold.objects.filter(pk=kept.pk).update(ended_at=timezone.now())
    assert purge.sweep() == 1 and gone(stored)


def test_of_two_purges_that_saw_the_same_file_one_deletes_it(make: Make) -> None:
    stored = make(days=-1)
    [due], [again] = purge.FILES.due(10), purge.FILES.due(10)
    assert purge.FILES.delete(due) is not None
    assert purge.FILES.delete(again) is None and gone(stored)
    assert AuditEntry.objects.filter(action="purge.file").count() == 1


def test_a_hold_that_comes_after_the_look_still_counts(make: Make) -> None:
    stored = make(days=-1)
    [due] = purge.FILES.due(10)
    hold(stored)
    assert purge.FILES.delete(due) is None and not gone(stored)


def test_a_date_that_moves_after_the_look_still_counts(make: Make) -> None:
    stored = make(days=-1)
    [due] = purge.FILES.due(10)
    StoredFile.objects.update(delete_by=timezone.now() + dt.timedelta(days=30))
    assert purge.FILES.delete(due) is None and not gone(stored)


def test_after_a_crash_in_between_the_next_purge_goes_on(
    make: Make, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The file is off the disk, the transaction is lost: the row is still due, seen by nobody."""
    first, second = make(days=-2), make(days=-1)

    def crash(**about: Any) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(purge.audit, "record", crash)
        with pytest.raises(KeyboardInterrupt):
            purge.purge()
    first.refresh_from_db()
    assert first.state == "ready" and not first.local_path().exists()
    assert not list(ledger.lines())
    assert purge.sweep() == 2 and gone(first) and gone(second)


def test_what_cannot_be_deleted_is_said_and_stops_nothing_else(
    make: Make, monkeypatch: pytest.MonkeyPatch, capsys: Any
) -> None:
    bad, good = make(days=-2), make(days=-1)
    unlink = Path.unlink

    def refuse(path: Path, missing_ok: bool = False) -> None:
        if path == bad.local_path():
            raise PermissionError("read-only")
        unlink(path, missing_ok=missing_ok)

    with monkeypatch.context() as patch:
        patch.setattr(Path, "unlink", refuse)
        with pytest.raises(SystemExit) as ended:
            call_command("purge")
        assert ended.value.code == 1
        with pytest.raises(purge.StillThere, match="1 could not be deleted"):
            purge.sweep()
    assert str(bad.pk) in capsys.readouterr().err
    assert gone(good) and not gone(bad)
    assert purge.sweep() == 1 and gone(bad)


def test_a_disk_that_is_not_there_does_not_look_like_deleted_files(
    make: Make, settings: Any
) -> None:
    stored = make(days=-1)
    away = Path(settings.MEDIA_ROOT).with_name("unplugged")
    shutil.move(settings.MEDIA_ROOT, away)
    [report] = [one for one in purge.purge() if one.step.name == "files"]
    assert len(report.failed) == 1 and "disk" in report.failed[0]
    assert StoredFile.objects.get(pk=stored.pk).state == "ready"
    shutil.move(away, settings.MEDIA_ROOT)
    assert purge.sweep() == 1 and gone(stored)


def test_a_file_that_is_there_again_after_it_was_deleted_is_not_called_deleted(
    make: Make, monkeypatch: pytest.MonkeyPatch
) -> None:
    stored = make(days=-1)
    monkeypatch.setattr(Path, "unlink", lambda path, missing_ok=False: None)
    [report] = [one for one in purge.purge() if one.step.name == "files"]
    assert len(report.failed) == 1 and "still on the disk" in report.failed[0]
    assert not gone(stored)


def test_files_with_an_owner_are_left_to_its_step(
    make: Make, monkeypatch: pytest.MonkeyPatch
) -> None:
    stored = make(days=-1)
    steps: Registry[PurgeStep] = Registry("purge step")
    steps.register(purge.FILES)
    own = PurgeStep(
        "own", "Own", 1, lambda n: [], lambda: 0, lambda due: None, frozenset({RULE.name})
    )
    steps.register(own)
    monkeypatch.setattr(purge, "purge_steps", steps)
    assert purge.sweep() == 0 and not gone(stored)


def test_a_step_that_never_comes_to_an_end_is_asked_once_for_each_thing(
    db: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[uuid.UUID] = []
    things = [Due("test", uuid.uuid4(), timezone.now()) for _ in range(5)]

    def delete(due: Due) -> Gone | None:
        asked.append(due.id)
        return None

    steps: Registry[PurgeStep] = Registry("purge step")
    steps.register(PurgeStep("own", "Own", 1, lambda n: things[:n], lambda: 0, delete))
    monkeypatch.setattr(purge, "purge_steps", steps)
    monkeypatch.setattr(purge, "BATCH", 2)
    [report] = purge.purge()
    assert asked == [thing.id for thing in things] and report.due == []


def test_files_are_not_deleted_when_the_ledger_cannot_be_written(
    make: Make, settings: Any, tmp_path: Path
) -> None:
    stored = make(days=-1)
    (tmp_path / "a file").touch()
    settings.LEDGER_FILE = tmp_path / "a file" / "deletions.jsonl"
    [report] = [one for one in purge.purge() if one.step.name == "files"]
    assert len(report.failed) == 1
    assert StoredFile.objects.get(pk=stored.pk).state == "ready"


def test_rows_of_files_long_gone_are_forgotten_unless_something_stands_on_them(
    make: Make, cast: Any
) -> None:
    now = timezone.now()
    old, young, there = make(days=-50), make(days=-1), make(days=1)
    with transaction.atomic():
        purge.delete_files([old, young])
    StoredFile.objects.filter(pk=old.pk).update(deleted_at=now - dt.timedelta(days=31))
    source = cast.recordings["underwater"].files.get().stored
    month_ago = now - dt.timedelta(days=31)
    StoredFile.objects.filter(pk=source.pk).update(state="deleted", deleted_at=month_ago)
    DueWarning.objects.create(
        subject_kind="test", subject_id=uuid.uuid4(), delete_by=month_ago, days_before=3
    )
    assert purge.forget_rows() == 2
    left = set(StoredFile.objects.values_list("pk", flat=True))
    assert {young.pk, there.pk, source.pk} <= left and old.pk not in left
    assert purge.forget_rows() == 0


def test_purge_is_a_step_of_the_sweep(make: Make) -> None:
    stored = make(days=-1)
    counts = sweep.Sweeper().sweep()
    assert counts["purge"] >= 1 and gone(stored)
