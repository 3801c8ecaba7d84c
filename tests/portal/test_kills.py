"""kill -9 of workers at random moments, with real processes."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from tests import services
from tests.portal.site import LEASE_S, ROOT, SWEEP_S, inside, manage, prepared

SLACK_S = 3.0  # two cores shared by the site, its killed workers' successors and the test


def kill_run(env: dict[str, str], kills: int, seed: int) -> dict[str, Any]:
    """Kill, wait for the end; what became of it."""
    # Random kills may well hit one job three times; that it then fails is another test.
    env = env | {"JOB_MAX_ATTEMPTS": "1000", "RENDER_PROCESSES": "2", "WEB_PROCESSES": "1"}
    return inside(env, "kill_run", str(kills), str(seed))


def check(told: dict[str, Any], kills: int) -> None:
    print(told)
    assert told["killed"] == kills
    assert told["hit"] >= kills * 0.5, "most kills must meet a running job to prove anything"
    assert told["states"] == {"done": told["jobs"]}
    assert told["files_per_job"] == [1]
    assert told["whole"] and told["hashes_fit"] and told["rows_match_disk"]
    assert told["orphans_left"] == 0
    assert told["orphan_for_s"] < 1.0, "a child outlived its worker"
    assert told["left"] == 0, "processes outlived serve"
    assert told["still_held"] == 0
    assert told["returned_after_s"] < LEASE_S + SWEEP_S + SLACK_S


# Not marked: deploy/test --quick runs it.
def test_five_kills_lose_and_double_nothing(tmp_path: Path) -> None:
    check(kill_run(prepared(tmp_path), 5, seed=2), 5)


@pytest.mark.services
@pytest.mark.slow
@pytest.mark.long
def test_forty_kills_lose_and_double_nothing(tmp_path: Path) -> None:
    check(kill_run(prepared(tmp_path), 40, seed=3), 40)


@pytest.mark.services
@pytest.mark.slow
def test_ten_kills_on_redis_and_postgres_lose_and_double_nothing(tmp_path: Path) -> None:
    """The parts that production runs on."""
    with (
        services.needed(services.postgres) as database_url,
        services.needed(services.redis) as redis_url,
    ):
        env = prepared(tmp_path, DATABASE_URL=database_url, REDIS_URL=redis_url)
        check(kill_run(env, 10, seed=4), 10)


@pytest.mark.services
def test_enqueue_goes_on_while_the_broker_is_down(tmp_path: Path) -> None:
    """The upload that asks for a job still succeeds; the sweep rings later."""
    env = prepared(tmp_path, REDIS_URL=f"redis://127.0.0.1:{services.free_port()}/0")
    ask = (
        "import django, time; django.setup()\n"
        "from portal.actions.jobs import enqueue\n"
        "from portal.models import Job\n"
        "began = time.monotonic()\n"
        "enqueue(kind='test-poison')\n"
        "print(Job.objects.get().state, time.monotonic() - began < 5)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", ask], env=env, cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert done.stdout.split() == ["waiting", "True"]
    swept = manage(env, "sweep")
    assert "ring-again: 0" in swept.stdout  # rung in vain, and nothing broke
    told = json.loads(manage(env, "doctor", "--json", check=False).stdout)
    (broker,) = [check for check in told["checks"] if check["name"] == "broker"]
    assert broker["ok"] is False
    assert "Redis does not answer" in broker["sentence"]
