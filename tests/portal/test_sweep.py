"""The sweep brings rows, messages and files back together."""

from __future__ import annotations

import datetime as dt
import os
import time
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.utils import timezone

from portal.actions import files, health, jobs, sweep
from portal.actions.files import publish, work_dir
from portal.models import AuditEntry, Club, Heartbeat, Job, StoredFile
from portal.registry import KeepingRule, Registry, SweepStep, keeping_rules

RULE = keeping_rules.register(KeepingRule("test-sweep", "Test", lambda file: None))


@pytest.fixture
def own_folders(tmp_path: Path, settings: Any) -> Path:
    settings.WORK_DIR = tmp_path / "work"
    settings.ORIGINALS_DIR = tmp_path / "originals"
    settings.MEDIA_ROOT = tmp_path / "media"
    settings.BROKER_DIR = tmp_path / "broker"
    return tmp_path


@pytest.fixture
def stored(db: None, own_folders: Path) -> list[StoredFile]:
    """A published file in each area."""
    club = Club.objects.create(slug="harbour-lane-masters", name="Harbour Lane Masters")
    made = []
    for area in ("originals", "media"):
        with work_dir("test") as folder:
            (folder / "part").write_text(area)
            made.append(
                publish(
                    temporary=folder / "part",
                    area=area,
                    kind="test",
                    club=club,
                    keeping_rule=RULE.name,
                    content_type="text/plain",
                    suffix=".txt",
                )
            )
    return made


def age(path: Path, seconds: float) -> None:
    then = time.time() - seconds
    os.utime(path, (then, then))


def walk_round(step: Any) -> int:
    """A step that goes some folders at a time, until it has been everywhere."""
    return sum(step() for _ in range(6))


def test_files_without_a_row_go_once_they_are_an_hour_old(stored: list[StoredFile]) -> None:
    orphans = []
    for one in stored:
        for name, seconds in (("old", 4000.0), ("young", 60.0)):
            path = one.local_path().with_name(f"{name}.txt")
            path.write_text("nobody's")
            age(path, seconds)
            orphans.append(path)
        age(one.local_path(), 4000.0)
    assert walk_round(sweep.OrphanFiles()) == 2
    assert [path.exists() for path in orphans] == [False, True, False, True]
    assert all(one.local_path().exists() for one in stored)
    assert walk_round(sweep.OrphanFiles()) == 0


def test_file_whose_row_says_deleted_goes_too(stored: list[StoredFile]) -> None:
    StoredFile.objects.filter(pk=stored[0].pk).update(state="deleted")
    age(stored[0].local_path(), 4000.0)
    assert walk_round(sweep.OrphanFiles()) == 1
    assert not stored[0].local_path().exists()


def test_rows_without_a_file_are_marked_and_told(stored: list[StoredFile]) -> None:
    stored[0].local_path().unlink()
    assert walk_round(sweep.LostFiles()) == 1
    states = dict(StoredFile.objects.values_list("pk", "state"))
    assert states == {stored[0].pk: "deleted", stored[1].pk: "ready"}
    assert AuditEntry.objects.filter(action="file.lost", subject_id=str(stored[0].pk)).exists()


def test_unmounted_disk_is_not_taken_for_lost_files(stored: list[StoredFile]) -> None:
    for area in ("originals", "media"):
        files.area_root(area).rename(files.area_root(area).with_name(f"{area}-away"))
        files.area_root(area).mkdir()  # the mount point without its disk
    assert walk_round(sweep.LostFiles()) == 0
    assert set(StoredFile.objects.values_list("state", flat=True)) == {"ready"}


def test_lost_files_are_looked_for_in_batches(
    stored: list[StoredFile], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sweep, "BATCH", 1)
    for one in stored:
        one.local_path().unlink()
    step = sweep.LostFiles()
    assert [step(), step(), step()] == [1, 1, 0]


def test_temporaries_go_once_they_are_a_day_old(own_folders: Path) -> None:
    work = Path(settings.WORK_DIR)
    for name in ("old", "in-use", "new"):
        (work / name).mkdir(parents=True)
        (work / name / "clip.part").write_text("half a clip")
    (work / "old.part").write_text("half")
    for path in (work / "old" / "clip.part", work / "old", work / "in-use", work / "old.part"):
        age(path, 25 * 3600.0)
    assert sweep.remove_old_temporaries() == 2
    assert sorted(path.name for path in work.iterdir()) == ["in-use", "new"]
    assert sweep.remove_old_temporaries() == 0


def test_broken_step_is_told_and_stops_no_other(db: None, monkeypatch: pytest.MonkeyPatch) -> None:
    steps: Registry[SweepStep] = Registry("sweep step")
    ran: list[str] = []

    def broken() -> int:
        raise OSError("disk is away")

    steps.register(SweepStep("first", 0.0, broken))
    steps.register(SweepStep("second", 0.0, lambda: ran.append("second") or 3))
    steps.register(SweepStep("seldom", 3600.0, lambda: ran.append("seldom") or 0))
    monkeypatch.setattr(sweep, "sweep_steps", steps)
    sweeper = sweep.Sweeper()
    assert sweeper.sweep() == {"second": 3, "seldom": 0}
    assert sweeper.sweep() == {"second": 3}
    assert ran == ["second", "seldom", "second"]
    finding = health.check_sweep()
    assert (finding.ok, "disk is away" in str(finding.sentence)) == (False, True)


def test_sweep_rings_for_what_is_due(
    db: None, own_folders: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    rung: list[str] = []
    monkeypatch.setattr(jobs, "ring", lambda queue: rung.append(queue) or True)
    later = timezone.now() + dt.timedelta(hours=1)
    Job.objects.create(kind="test", queue="quick")
    Job.objects.create(kind="test", queue="render", not_before=later)
    assert sweep.ring_again() == 1
    assert rung == ["quick"]


def test_jobs_that_ended_a_month_ago_are_forgotten(db: None) -> None:
    now = timezone.now()
    for state, days in (("done", 31), ("failed", 31), ("done", 29)):
        Job.objects.create(
            kind="test", queue="quick", state=state, finished_at=now - dt.timedelta(days=days)
        )
    Job.objects.create(kind="test", queue="quick", created_at=now - dt.timedelta(days=90))
    Heartbeat.objects.create(name="gone", queue="quick", seen_at=now - dt.timedelta(days=2))
    assert sweep.forget_old_jobs() == 2
    assert sorted(Job.objects.values_list("state", flat=True)) == ["done", "waiting"]
    assert not Heartbeat.objects.exists()


def test_messages_nobody_hears_do_not_pile_up() -> None:
    folder = Path(settings.BROKER_DIR)
    for _ in range(60):
        assert jobs.ring("render") is True
    messages = list(folder.glob("*.render.msg"))
    assert 0 < len(messages) <= jobs.BELLS_ENOUGH + 1
    for message in messages:
        age(message, 25 * 3600.0)
    assert sweep.remove_old_messages() == len(messages)
