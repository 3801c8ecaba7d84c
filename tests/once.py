"""What takes long to make and nobody changes: made once a run, for all modules and processes."""

from __future__ import annotations

import fcntl
import os
import pickle
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

import pytest

Made = TypeVar("Made")


def once_a_run(factory: pytest.TempPathFactory, name: str, make: Callable[[Path], Made]) -> Made:
    """What `make` returns for an empty folder; `name` says what it is, its arguments included."""
    run = factory.getbasetemp()
    if os.environ.get("PYTEST_XDIST_WORKER"):
        run = run.parent  # each process has its own folder in the run's
    folder, kept = run / f"once-{name}", run / f"once-{name}.pickle"
    with (run / f"once-{name}.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if kept.exists():
            made: Made = pickle.loads(kept.read_bytes())  # noqa: S301
            return made
        folder.mkdir()
        made = make(folder)
        kept.write_bytes(pickle.dumps(made))
    return made
