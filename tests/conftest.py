"""What all tests share."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING
from zlib import crc32

import pytest
from django.conf import settings
from django.utils import translation

from tests.cast import Cast, build_cast
from tests.migrated import migrated_database

if TYPE_CHECKING:
    from playwright.sync_api import Browser

MEDIA_TESTS = Path(__file__).parent / "clinics" / "media"
LONG_FILES = (
    "test_matrix_clinics.py",
    "test_matrix_feedback.py",
    "test_hall_aligned.py",
    "test_cut_demo.py",
    "test_one_clock.py",
    "test_whole_path.py",
    "test_clinic_day.py",
)
"""Begun first, so that of two processes none is left with one of them at the end."""
WHOLE_ON_BOTH = (
    "test_audit.py",
    "test_backup_whole.py",
    "test_consent.py",
    "test_erase.py",
    "test_fence_model.py",
)
"""These ask for pages, too, but what they try is the database's part."""
DATABASE = {"db", "transactional_db", "live_server"}  # what else is of it, every test has


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """What asks no database need not run again on the other one, and of what asks for pages,
    which is much the same there, every fifth; long files first."""
    for item in items:
        module = getattr(item, "module", None)
        asks_pages = hasattr(module, "Client") or hasattr(module, "walk")
        whole = item.path.name in WHOLE_ON_BOTH or crc32(item.nodeid.encode()) % 5 == 0
        if asks_pages and not whole:
            item.add_marker(pytest.mark.page_once)
        if item.path.is_relative_to(MEDIA_TESTS):
            item.add_marker(pytest.mark.media)
        asks = item.get_closest_marker("django_db") or DATABASE & set(item.fixturenames)
        if not asks:
            item.add_marker(pytest.mark.no_database)
    items.sort(key=lambda item: item.path.name not in LONG_FILES)


@pytest.fixture(scope="session")
def django_db_keepdb() -> bool:
    """SQLite: the copy of a migrated database is the tests' database (tests/migrated.py)."""
    return bool(settings.DATABASES["default"]["ENGINE"].endswith("sqlite3"))


@pytest.fixture(scope="session")
def django_db_modify_db_settings(
    django_db_modify_db_settings_parallel_suffix: None, django_db_keepdb: bool
) -> None:
    if django_db_keepdb:
        shutil.copy(migrated_database(), settings.DATABASES["default"]["TEST"]["NAME"])


@pytest.fixture(autouse=True)
def own_language() -> Iterator[None]:
    """A page read in French leaves its language in the thread; the next test starts anew."""
    with translation.override(settings.LANGUAGE_CODE):
        yield


@pytest.fixture(autouse=True)
def own_work_folder() -> None:
    """A test that lays down a killed worker's rest leaves none for the next one to find."""
    for path in Path(settings.WORK_DIR).glob("*"):
        shutil.rmtree(path) if path.is_dir() else path.unlink()


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """Chromium, for the tests that drive one (tests/browser.py)."""
    from tests.browser import chromium  # only they need Playwright

    with chromium() as started:
        yield started


@pytest.fixture
def cast(db: None) -> Cast:
    """The fixed cast with its data (tests/cast.py)."""
    return build_cast()
