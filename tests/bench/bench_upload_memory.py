"""Memory of the web process while 1 GiB comes in: under 150 MiB.

As a script it prints JSON; as a test it is marked `bench`. psutil (the kernel's RSS) is the
outside witness.
"""

from __future__ import annotations

import json
import tempfile
import threading
import time
from pathlib import Path

import psutil
import pytest

from tests.clinics.live_site import LiveSite
from tests.clinics.test_uploads_live import create, open_patch, status_of

GIB = 1 << 30
MOST_MIB = 150.0


def measure(folder: Path, size: int = GIB) -> dict[str, float]:
    """Peak RSS of gunicorn's worker, in MiB, before and during the upload; and how fast."""
    site = LiveSite(folder)
    site.seed()
    site.start()
    over = threading.Event()
    try:
        assert site.process is not None
        [worker] = psutil.Process(site.process.pid).children()
        site.ask("GET", f"/stations/{site.facts['station']}/uploads/")
        before = worker.memory_info().rss
        peaks = [before]

        def watch() -> None:
            while not over.wait(0.02):
                family = [worker, *worker.children(recursive=True)]
                peaks.append(sum(one.memory_info().rss for one in family))

        watcher = threading.Thread(target=watch)
        watcher.start()
        began = time.monotonic()
        connection = open_patch(site, create(site, size), 0, size)
        piece = bytes(range(256)) * 4096
        for _ in range(size // len(piece)):
            connection.sendall(piece)
        assert status_of(connection) == 204
        took_s = time.monotonic() - began
        over.set()
        watcher.join()
    finally:
        over.set()
        site.stop()
    return {
        "before_mib": round(before / 2**20, 1),
        "peak_mib": round(max(peaks) / 2**20, 1),
        "mib_per_s": round(size / 2**20 / took_s, 1),
    }


@pytest.mark.bench
@pytest.mark.slow
def test_a_gibibyte_costs_less_than_150_mib(tmp_path: Path) -> None:
    found = measure(tmp_path)
    print(json.dumps(found))
    assert found["peak_mib"] < MOST_MIB


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as name:
        print(json.dumps(measure(Path(name))))
