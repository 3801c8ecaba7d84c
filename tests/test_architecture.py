"""The walls of the house: who may import whom."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent


def test_import_order_holds() -> None:
    """import-linter's contracts in pyproject.toml, `compute` without Django among them."""
    done = subprocess.run(
        [str(Path(sys.executable).parent / "lint-imports")],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr


def test_top_level_holds_only_what_was_agreed() -> None:
    tracked = subprocess.run(
        ["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True
    ).stdout.split("\n")
    top = {name.split("/")[0] for name in tracked if name and not name.startswith(".")}
    assert top <= {
        "README.md",
        "DEVELOPERS.md",
        "manage.py",
        "pyproject.toml",
        "portal",
        "clinics",
        "feedback",
        "tests",
        "deploy",
    }


def test_page_scripts_stay_short() -> None:
    """One behaviour a module, about 150 lines at most; other people's are under vendor."""
    modules = [
        path
        for app in ("portal", "clinics", "feedback")
        for path in (ROOT / app / "static").rglob("*.js")
        if "vendor" not in path.parts
    ]
    assert len(modules) > 50
    lengths = {path.name: len(path.read_text().splitlines()) for path in modules}
    assert {name: lines for name, lines in lengths.items() if lines > 150} == {}


def test_no_migration_is_missing() -> None:
    done = subprocess.run(
        [sys.executable, "manage.py", "makemigrations", "--check", "--dry-run"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
