"""Job kinds for the tests with real processes; loaded by EXTRA_REGISTRATIONS=tests.kinds."""

from __future__ import annotations

import hashlib
import os
import signal
import subprocess
import time
from pathlib import Path

from portal.actions.files import publish, work_dir
from portal.actions.job_runs import JobStopped, Pulse
from portal.deathsig import die_with
from portal.models import Club, Job, StoredFile
from portal.registry import JobKind, KeepingRule, job_kinds, keeping_rules

CHILD_MARK = "8.640"  # the sleep that stands for a media tool is found by its argument
PIECES = 12
PIECE_BYTES = 64 * 1024


def file_kind(job_id: str) -> str:
    return "t" + job_id.replace("-", "")[:20]


def content_of(job_id: str) -> bytes:
    """The whole right content of a job's file."""
    return b"".join(
        hashlib.sha256(f"{job_id} {piece}".encode()).digest() * (PIECE_BYTES // 32)
        for piece in range(PIECES)
    )


def write_slowly(job: Job, pulse: Pulse) -> None:
    """Writes a file piece by piece beside a child process, then publishes it."""
    job_id = str(job.pk)
    if StoredFile.objects.filter(kind=file_kind(job_id)).exists():
        return  # an attempt that died after publishing has done it
    seconds = float(job.params["seconds"])
    club = Club.objects.get(slug=job.params["club"])
    child = subprocess.Popen(
        ["sleep", CHILD_MARK],
        process_group=0,  # as the media tools: another group than the worker's
        preexec_fn=die_with(os.getpid(), signal.SIGKILL),
    )
    try:
        with work_dir("test") as folder:
            temporary = folder / "file.part"
            _write(temporary, content_of(job_id), seconds, pulse)
            publish(
                temporary=temporary,
                area="media",
                kind=file_kind(job_id),
                club=club,
                keeping_rule="test-for-ever",
                content_type="application/octet-stream",
                suffix=".bin",
            )
    finally:
        child.kill()
        child.wait()


def _write(temporary: Path, content: bytes, seconds: float, pulse: Pulse) -> None:
    with temporary.open("wb", buffering=0) as out:
        for piece in range(PIECES):
            out.write(content[piece * PIECE_BYTES : (piece + 1) * PIECE_BYTES])
            time.sleep(seconds / PIECES)
            if pulse.should_stop():
                raise JobStopped(pulse.why)
            pulse(piece / PIECES)


def kill_the_worker(job: Job, pulse: Pulse) -> None:
    """A poison file: whoever touches it dies at once."""
    os.kill(os.getpid(), signal.SIGKILL)


def register_all() -> None:
    keeping_rules.register(KeepingRule("test-for-ever", "For ever", _never))
    for queue in ("quick", "render"):
        job_kinds.register(
            JobKind(f"test-write-{queue}", queue, "Writing", write_slowly, _unseen, retry_s=0.1)
        )
    job_kinds.register(JobKind("test-poison", "quick", "Poison", kill_the_worker, _unseen))


def _never(file: StoredFile) -> None:
    return None


def _unseen(jobs, user):  # type: ignore[no-untyped-def]
    return jobs.none()
