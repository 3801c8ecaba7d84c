"""The fence's price: the list of a club with 10,000 swims and 40,000 clips, on PostgreSQL.

Against a plain query for the same rows, without any fence, in the same run: at most three times
its time, and as many queries. The best of several rounds each, turn by turn. And one clip asked
for: at most half of what it takes as the server plans by itself. `-s` prints it all.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests import services

ROOT = Path(__file__).resolve().parent.parent.parent
AT_MOST = 3.0

pytestmark = [pytest.mark.bench, pytest.mark.slow, pytest.mark.services]


def test_the_list_of_a_large_club_costs_at_most_three_plain_ones(tmp_path: Path) -> None:
    with services.needed(services.postgres) as url:
        more = {"DATABASE_URL": url, "SIDELANE_DATA": str(tmp_path)}
        run = subprocess.run(
            [sys.executable, "-m", "tests.bench.fence_run"],
            cwd=ROOT,
            env={**os.environ, "DJANGO_SETTINGS_MODULE": "tests.settings", **more},
            capture_output=True,
            text=True,
            check=False,
        )
    assert run.returncode == 0, run.stderr[-3000:]
    told = json.loads(run.stdout.splitlines()[-1])
    print(json.dumps(told, indent=2))
    assert (told["swims"], told["clips"]) == (10_000, 40_000)
    plain = told["lists"]["plain"]
    for name in ("coach", "queue", "swimmer"):
        row = told["lists"][name]
        assert row["queries"] == plain["queries"], name
        assert row["s"] <= AT_MOST * plain["s"], (name, row["s"] / plain["s"])
    assert told["one"]["ours"] <= told["one"]["its own"] / 2
    assert 5_000 < told["lists"]["coach"]["swims"] < 10_000  # not a list of nothing
