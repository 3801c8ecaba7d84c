"""The disk is full: a small tmpfs, mounted for the test."""

from __future__ import annotations

import os
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from portal.actions.files import publish, remove, work_dir
from portal.actions.job_worker import drain
from portal.actions.jobs import enqueue
from portal.models import Club, Job, StoredFile
from portal.registry import JobKind, KeepingRule, job_kinds, keeping_rules

RULE = keeping_rules.register(KeepingRule("test-full", "Test", lambda file: None))
DISK_BYTES = 1024 * 1024
HALF = b"x" * (600 * 1024)


@pytest.fixture
def small_disk(tmp_path: Path, settings: Any) -> Iterator[Path]:
    disk = tmp_path / "disk"
    disk.mkdir()
    if os.geteuid() != 0:
        pytest.skip("only root may mount the small disk")
    argv = ["mount", "-t", "tmpfs", "-o", f"size={DISK_BYTES}", "tmpfs", str(disk)]
    done = subprocess.run(argv, capture_output=True, text=True)
    if done.returncode != 0:
        pytest.skip(f"this machine mounts no tmpfs: {done.stderr.strip()}")
    settings.WORK_DIR = disk / "work"
    settings.MEDIA_ROOT = disk / "media"
    try:
        yield disk
    finally:
        subprocess.run(["umount", "--lazy", str(disk)], check=True)


def test_full_disk_fails_the_job_with_its_reason_and_corrupts_nothing(
    small_disk: Path, db: None
) -> None:
    club = Club.objects.create(slug="harbour-lane-masters", name="Harbour Lane Masters")

    def run(job: Job, pulse: Any) -> None:
        with work_dir("test") as folder:
            (folder / "part").write_bytes(HALF)
            publish(
                temporary=folder / "part",
                area="media",
                kind="test",
                club=club,
                keeping_rule=RULE.name,
                content_type="video/mp4",
                suffix=".mp4",
            )

    kind = JobKind("test-full", "quick", "Test", run, lambda jobs, user: jobs, retry_s=0.0)
    job_kinds.register(kind)
    try:
        first, second = enqueue(kind="test-full"), enqueue(kind="test-full")
        drain()
        first.refresh_from_db()
        second.refresh_from_db()
        assert (first.state, second.state, second.attempt) == ("done", "failed", 3)
        assert "No space left on device" in second.reason
        (stored,) = StoredFile.objects.all()
        assert stored.local_path().read_bytes() == HALF
        on_disk = [path for path in (small_disk / "media").glob("*/*") if path.is_file()]
        assert on_disk == [stored.local_path()]
        assert list((small_disk / "work").iterdir()) == []
        assert remove(file=stored)  # deletion still works, and makes room
        Job.objects.filter(pk=second.pk).update(state="waiting", attempt=0)
        drain()
        second.refresh_from_db()
        assert second.state == "done"
    finally:
        job_kinds._items.pop("test-full")
