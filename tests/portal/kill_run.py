"""Kills workers at random moments while they work; prints what became of the jobs.

    python -m tests.portal.kill_run KILLS SEED

in the environment of `tests.portal.site`, on a migrated database.
"""

from __future__ import annotations

import collections
import json
import os
import random
import signal
import sys
import time
from typing import Any

import django
import psutil

django.setup()

from portal.actions import sweep  # noqa: E402
from portal.actions.files import area_root, hash_file  # noqa: E402
from portal.actions.jobs import enqueue  # noqa: E402
from portal.models import Club, Job, StoredFile  # noqa: E402
from tests import kinds  # noqa: E402
from tests.portal.site import LONG_S, served, wait_until  # noqa: E402


def open_jobs() -> int:
    return Job.objects.filter(state__in=["waiting", "running"]).count()


def add_job(chance: random.Random) -> None:
    queue = chance.choice(["render", "render", "quick"])
    seconds = chance.uniform(0.4, 1.2)
    enqueue(kind=f"test-write-{queue}", params={"club": "harbour", "seconds": seconds})


def running_by_pid() -> dict[int, tuple[str, int]]:
    """Worker pid -> its job and attempt. The owner's name is host:pid:random."""
    rows = Job.objects.filter(state="running").values_list("pk", "owner", "attempt")
    return {int(owner.split(":")[1]): (str(pk), attempt) for pk, owner, attempt in rows}


def orphans() -> list[psutil.Process]:
    """Children whose worker is dead. The kernel's signal may still be on its way to them."""
    return [
        process
        for process in psutil.process_iter(["ppid", "cmdline"])
        if process.info["cmdline"] == ["sleep", kinds.CHILD_MARK] and process.info["ppid"] == 1
    ]


class Watch:
    """How long each job of a killed worker was held by the dead."""

    def __init__(self) -> None:
        self.held_by_dead: dict[str, tuple[int, float]] = {}
        self.returned_after_s: list[float] = []
        self._orphans: dict[psutil.Process, float] = {}  # equal by pid and time of creation
        self.orphan_for_s = 0.0  # the longest that one was seen to outlive its worker

    def look(self) -> None:
        now = time.monotonic()
        for orphan in orphans():
            since = self._orphans.setdefault(orphan, now)
            self.orphan_for_s = max(self.orphan_for_s, now - since)
        for pk, (attempt, killed_at) in list(self.held_by_dead.items()):
            if not Job.objects.filter(pk=pk, attempt=attempt, state="running").exists():
                self.returned_after_s.append(time.monotonic() - killed_at)
                del self.held_by_dead[pk]

    def wait(self, seconds: float) -> None:
        until = time.monotonic() + seconds
        while time.monotonic() < until:
            self.look()
            time.sleep(0.05)


def kill_one(site: Any, chance: random.Random, watch: Watch, idle_too: bool) -> tuple[int, int]:
    """kill -9 of a worker's process group: how many were killed, how many in the midst of a job.
    Mostly those that work; if `idle_too`, now and then one that starts or waits."""
    victims = site.workers("render") * 2 + site.workers("quick")
    if not victims:
        return 0, 0
    busy = running_by_pid()
    at_work = [victim for victim in victims if victim.pid in busy]
    if not at_work and not (idle_too and chance.random() < 0.05):
        return 0, 0
    victim = chance.choice(at_work or victims)
    os.killpg(victim.pid, signal.SIGKILL)
    held = running_by_pid().get(victim.pid)
    if held is None:
        return 1, 0
    watch.look()
    watch.held_by_dead[held[0]] = (held[1], time.monotonic())
    return 1, 1


def main(kills: int, seed: int) -> None:
    chance = random.Random(seed)
    Club.objects.create(slug="harbour", name="Harbour Lane Masters")
    for _ in range(8):
        add_job(chance)
    watch, killed, hit = Watch(), 0, 0
    with served(dict(os.environ)) as site:
        wait_until(lambda: site.workers("render") and site.workers("quick"), LONG_S, "workers")
        while killed < kills:
            watch.wait(chance.uniform(0.05, 1.0))
            done = kill_one(site, chance, watch, idle_too=killed - hit < 0.25 * kills)
            killed, hit = killed + done[0], hit + done[1]
            while open_jobs() < 6:
                add_job(chance)
        last_kill_at = time.monotonic()
        try:
            wait_until(lambda: watch.look() or not open_jobs(), LONG_S, "the open jobs end")
        except AssertionError:
            print(*Job.objects.values_list("kind", "state", "owner", "attempt"), sep="\n")
            print(*(part.cmdline() for part in site.parts()), sep="\n")
            raise
        ended_after_s = time.monotonic() - last_kill_at
        parts = site.parts()
        assert len(parts) >= 6, parts
    left = [part for part in parts if part.is_running()]
    print(
        json.dumps(
            results(watch, killed, hit) | {"ended_after_s": ended_after_s, "left": len(left)}
        )
    )


def results(watch: Watch, killed: int, hit: int) -> dict[str, Any]:
    states = collections.Counter(Job.objects.values_list("state", flat=True))
    sweep.ORPHAN_OLD_S = -1
    orphan_files = sweep.OrphanFiles()
    removed = sum(orphan_files() for _call in range(20))  # the first only begins a round
    on_disk = {str(p.relative_to(area_root("media"))) for p in area_root("media").glob("*/*")}
    rows = {row.name: row for row in StoredFile.objects.all()}
    return {
        "killed": killed,
        "hit": hit,
        "jobs": sum(states.values()),
        "states": dict(states),
        "attempts": max(Job.objects.values_list("attempt", flat=True)),
        "returned_after_s": max(watch.returned_after_s, default=0.0),
        "still_held": len(watch.held_by_dead),
        "orphan_for_s": watch.orphan_for_s,
        "orphans_left": len(orphans()),
        "orphan_files_removed": removed,
        "rows_match_disk": on_disk == set(rows),
        "files_per_job": sorted({_files_of(job) for job in Job.objects.all()}),
        "whole": all(_whole(job) for job in Job.objects.all()),
        "hashes_fit": all(hash_file(row.local_path()) == row.sha256 for row in rows.values()),
    }


def _files_of(job: Job) -> int:
    return StoredFile.objects.filter(kind=kinds.file_kind(str(job.pk))).count()


def _whole(job: Job) -> bool:
    row = StoredFile.objects.filter(kind=kinds.file_kind(str(job.pk))).first()
    return row is not None and row.local_path().read_bytes() == kinds.content_of(str(job.pk))


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]))
