"""A migrated SQLite database, kept from run to run: migrating takes half a minute, copying nothing.

It is named after all that goes into it, so a changed migration or model makes another.
"""

from __future__ import annotations

import fcntl
import functools
import hashlib
import os
import subprocess
import sys
import tempfile
from pathlib import Path

import django

ROOT = Path(__file__).resolve().parents[1]
FOLDER = ROOT / ".pytest_cache" / "migrated"
PACKAGES = ("portal", "clinics", "feedback")


def _fingerprint() -> str:
    """Of the code that says what a migrated database holds: migrations; models, for the rows that
    Django makes of their names; the apps that are installed."""
    told = hashlib.sha256(f"{django.get_version()} {sys.version_info[:2]}".encode())
    for path in (ROOT / "portal/settings.py", ROOT / "deploy/requirements-test.lock"):
        told.update(path.read_bytes())
    for package in PACKAGES:
        for path in sorted((ROOT / package).rglob("*.py")):
            if {"migrations", "models"} & set(path.parts):
                told.update(f"{path.relative_to(ROOT)}".encode())
                told.update(path.read_bytes())
    return told.hexdigest()[:20]


@functools.cache
def migrated_database() -> Path:
    """The file. Made once, however many processes ask at the same time."""
    FOLDER.mkdir(parents=True, exist_ok=True)
    kept = FOLDER / f"{_fingerprint()}.db"
    with (FOLDER / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not kept.exists():
            _make(kept)
    return kept


def _make(kept: Path) -> None:
    for old in FOLDER.glob("*.db"):
        old.unlink()
    env = {k: v for k, v in os.environ.items() if k not in {"DATABASE_URL", "REDIS_URL"}}
    with tempfile.TemporaryDirectory(dir=FOLDER) as folder:
        env |= {"SIDELANE_DATA": folder, "DJANGO_SETTINGS_MODULE": "portal.settings"}
        words = [sys.executable, str(ROOT / "manage.py"), "migrate", "--verbosity", "0"]
        subprocess.run(words, cwd=ROOT, env=env, check=True)
        (Path(folder) / "sidelane.db").rename(kept)
