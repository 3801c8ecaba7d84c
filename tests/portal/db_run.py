"""Many processes on one database at once; prints what they did.

    python -m tests.portal.db_run writers PROCESSES WRITES
    python -m tests.portal.db_run claims PROCESSES JOBS

in the environment of `tests.portal.site`, on a migrated database.
"""

from __future__ import annotations

import json
import multiprocessing
import sys

import django

django.setup()

from django.db import connections, transaction  # noqa: E402

from portal.actions import audit  # noqa: E402
from portal.actions.job_worker import claim, new_owner  # noqa: E402
from portal.models import AuditEntry, Job  # noqa: E402


def write(count: int) -> int:
    """Read, then write, in one transaction: what fails when it begins as a reader's."""
    failed = 0
    for _ in range(count):
        try:
            with transaction.atomic():
                audit.record(action="test.write", by=None)
        except Exception as problem:
            print(type(problem).__name__, problem, file=sys.stderr)
            failed += 1
    return failed


def claim_all(_: int) -> list[str]:
    owner, taken = new_owner(), []
    while (job := claim("quick", owner)) is not None:
        taken.append(str(job.pk))
    return taken


def main(what: str, processes: int, count: int) -> None:
    if what == "claims":
        Job.objects.bulk_create(Job(kind="test", queue="quick") for _ in range(count))
    connections.close_all()
    with multiprocessing.get_context("spawn").Pool(processes) as pool:
        if what == "writers":
            failed = pool.map(write, [count // processes] * processes)
            chain = audit.verify_chain()
            print(
                json.dumps(
                    {
                        "failed": sum(failed),
                        "rows": AuditEntry.objects.count(),
                        "broken_at": chain.broken_at,
                    }
                )
            )
        else:
            taken = pool.map(claim_all, range(processes), chunksize=1)
            print(
                json.dumps(
                    {
                        "taken": sum(len(some) for some in taken),
                        "different": len({pk for some in taken for pk in some}),
                        "took_some": sum(1 for some in taken if some),
                        "attempts": sorted(set(Job.objects.values_list("attempt", flat=True))),
                    }
                )
            )


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]), int(sys.argv[3]))
