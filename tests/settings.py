"""The environment of the tests, set before the one settings file is read.

A data folder of their own, mail kept in memory, quiet logs. Child processes that a test
starts inherit all of it.
"""

from __future__ import annotations

import atexit
import os
import shutil
import tempfile

if "SIDELANE_DATA" not in os.environ:
    os.environ["SIDELANE_DATA"] = tempfile.mkdtemp(prefix="sidelane-tests-")
    atexit.register(
        lambda pid, folder: os.getpid() == pid and shutil.rmtree(folder, ignore_errors=True),
        os.getpid(),
        os.environ["SIDELANE_DATA"],
    )
if worker := os.environ.get("PYTEST_XDIST_WORKER"):  # tests side by side share nothing
    os.environ["SIDELANE_DATA"] = os.path.join(os.environ["SIDELANE_DATA"], worker)  # noqa: PTH118
os.environ.setdefault("EMAIL_URL", "memorymail://")
os.environ.setdefault("LOG_LEVEL", "WARNING")

from portal.settings import *  # noqa: E402, F403

WHITENOISE_AUTOREFRESH = True  # else each test client looks through all static files at first
STATIC_ROOT.mkdir(parents=True, exist_ok=True)  # noqa: F405  (whitenoise warns when it is missing)

if DATABASES["default"]["ENGINE"].endswith("sqlite3"):  # noqa: F405
    # On disk, as in use: in memory, all threads of a live server share one connection, and two
    # requests at once then end up in each other's transaction.
    # It begins as a copy of a migrated one (tests/migrated.py).
    DATABASES["default"]["TEST"] = {"NAME": str(DATA_DIR / "tests.db"), "MIGRATE": False}  # noqa: F405

if "SLOW_ANSWERS_MS" in os.environ:
    MIDDLEWARE.insert(0, "tests.slow_answers.slow_answers")  # noqa: F405
