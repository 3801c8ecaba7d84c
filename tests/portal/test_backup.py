"""Backup, erase, withdraw, restore: still gone and still withdrawn."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import pytest

from tests import services
from tests.portal.site import environment, inside, manage, prepared

STILL_SO = {
    "wren said": False,
    "wren painted": False,
    "wren named": False,
    "wrens swims": 0,
    "legible": False,
    "sol waits to be erased": 1,
    "tomas agrees to": ["publish"],
    "coach sees": 0,
    "tomas goes by": True,
    "shares open": 0,
    "coaches": 0,
    "edda": 0,
}


def told(env: dict[str, str], *words: str) -> dict[str, Any]:
    return json.loads(manage(env, *words, "--json").stdout)


def fails(env: dict[str, str], *words: str) -> tuple[int, str]:
    done = manage(env, *words, check=False)
    assert done.returncode != 0, done.stdout
    return done.returncode, done.stderr


def site(tmp_path: Path, name: str = "data", **more: str) -> dict[str, str]:
    (tmp_path / name).mkdir()
    return prepared(tmp_path / name, **more, AUDIT_KEY="a key", FACTOR_KEY="another key")


def drill(tmp_path: Path, env: dict[str, str]) -> None:
    """The whole way, on one machine."""
    backup = str(tmp_path / "backup")
    inside(env, "backup_run", "build")
    before = inside(env, "backup_run", "look")
    assert before["wren said"] and before["wren painted"] and before["wrens swims"] == 1
    assert before["tomas agrees to"] == ["film-and-review", "publish"]
    assert before["coach sees"] == 2 and before["sessions"] == 1
    made = told(env, "backup", backup)
    assert made["files"] + made["left_out"]["originals"] == before["ready"]
    assert not (Path(backup) / "originals").exists()
    inside(env, "backup_run", "withdraw")
    erasure = inside(env, "backup_run", "erase")
    assert erasure["state"] == "done"
    erased = inside(env, "backup_run", "look")
    assert {key: erased[key] for key in STILL_SO} == STILL_SO
    back = told(env, "restore", backup, "--replace")
    assert back["kept_out"] == erasure["files"] and back["withdrawn_again"] == 5
    after = inside(env, "backup_run", "look")
    assert {key: after[key] for key in STILL_SO} == STILL_SO
    assert after["sols swims"] == before["sols swims"] == 1, "what nobody deleted is back"
    assert (after["sessions"], after["files missing"]) == (0, [])
    assert after["trail holds"] and not after["maintenance"]


def test_erased_and_withdrawn_stay_so_after_a_restore(tmp_path: Path) -> None:
    drill(tmp_path, site(tmp_path))
    on_a_new_machine(tmp_path)


def on_a_new_machine(tmp_path: Path) -> None:
    """With nothing but the backup, the keys and the ledger."""
    (tmp_path / "new").mkdir()
    shutil.copy(tmp_path / "data" / "ledger" / "deletions.jsonl", tmp_path / "ledger.jsonl")
    keys = {"AUDIT_KEY": "a key", "FACTOR_KEY": "another key"}
    env = environment(tmp_path / "new", **keys, LEDGER_FILE=str(tmp_path / "ledger.jsonl"))
    told(env, "restore", str(tmp_path / "backup"))
    there = inside(env, "backup_run", "look")
    assert {key: there[key] for key in STILL_SO} == STILL_SO
    assert there["sols swims"] == 1 and there["files missing"] == []


@pytest.mark.services
def test_erased_and_withdrawn_stay_so_after_a_restore_on_postgres(tmp_path: Path) -> None:
    with services.needed(services.postgres) as database_url:
        drill(tmp_path, site(tmp_path, DATABASE_URL=database_url))
