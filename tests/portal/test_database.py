"""Many processes on one database."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator

import pytest

from tests import services
from tests.portal.site import inside, prepared

pytestmark = pytest.mark.services


@pytest.fixture(scope="module", params=["sqlite", pytest.param("postgres", marks=pytest.mark.slow)])
def env(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[dict[str, str]]:
    with contextlib.ExitStack() as stack:
        more = {}
        if request.param == "postgres":
            more["DATABASE_URL"] = stack.enter_context(services.needed(services.postgres))
        yield prepared(tmp_path_factory.mktemp(request.param), **more)


def test_six_writers_fail_none_of_600_writes(env: dict[str, str]) -> None:
    """Deferred transactions failed 399 of 600; each write here reads first."""
    assert inside(env, "db_run", "writers", "6", "600") == {
        "failed": 0,
        "rows": 600,
        "broken_at": None,
    }


def test_four_claimers_take_each_job_once(env: dict[str, str]) -> None:
    told = inside(env, "db_run", "claims", "4", "120")
    assert (told["taken"], told["different"], told["attempts"]) == (120, 120, [1])
    assert told["took_some"] >= 2, "one process did it all: nothing was contended"
