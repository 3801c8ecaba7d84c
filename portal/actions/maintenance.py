"""Maintenance: while a restore runs nobody is served and no job begins.

A file in the data folder is the sign, so that every process sees it, and a machine that goes
down in between comes up with it.
"""

from __future__ import annotations

import os
from pathlib import Path

from django.conf import settings


def _sign() -> Path:
    return Path(settings.MAINTENANCE_FILE)


def is_on() -> bool:
    return _sign().exists()


def begin(why: str) -> None:
    _sign().parent.mkdir(parents=True, exist_ok=True)
    with _sign().open("w") as sign:
        sign.write(f"{why}\n")
        sign.flush()
        os.fsync(sign.fileno())


def end() -> None:
    _sign().unlink(missing_ok=True)
