"""Production refuses to start unset, and passes Django's own deployment check.

Outside witness: `manage.py check --deploy`, in processes of their own.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PRODUCTION = {
    "SIDELANE_MODE": "production",
    "SECRET_KEY": "k7Qm2vX9pL4sT8wZ1nB6cR3yF5hJ0dGqAeUiOxVtKaMbPzWsEr",
    "AUDIT_KEY": "an audit key that is long enough to be one 0123456789",
    "FACTOR_KEY": "a factor key that is long enough to be one 0123456789",
    "ALLOWED_HOSTS": "clinics.harbourlane.example",
    "SITE_URL": "https://clinics.harbourlane.example",
    "EMAIL_URL": "smtp+tls://mail.harbourlane.example:587",
    "DATABASE_URL": "sqlite://:memory:",
}


def start(tmp_path: Path, **changes: str | None) -> subprocess.CompletedProcess[str]:
    kept = {name: os.environ[name] for name in ("PATH", "HOME", "LANG") if name in os.environ}
    wanted = kept | PRODUCTION | {"SIDELANE_DATA": str(tmp_path)} | changes
    env = {name: value for name, value in wanted.items() if value is not None}
    return subprocess.run(
        [sys.executable, "manage.py", "check", "--deploy", "--fail-level", "WARNING"],
        cwd=ROOT,
        env=env,
        capture_output=True,
        text=True,
        timeout=120,
    )


def test_production_settings_pass_the_deployment_check(tmp_path: Path) -> None:
    done = start(tmp_path)
    assert done.returncode == 0, done.stderr
    assert "no issues" in done.stdout + done.stderr


@pytest.mark.parametrize(
    "name", ["SECRET_KEY", "AUDIT_KEY", "FACTOR_KEY", "ALLOWED_HOSTS", "SITE_URL", "EMAIL_URL"]
)
def test_production_names_what_is_missing(tmp_path: Path, name: str) -> None:
    done = start(tmp_path, **{name: None})
    assert done.returncode != 0
    assert f"{name} is not set" in done.stderr
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("name", "value", "said"),
    [
        ("DEBUG", "on", "DEBUG is on"),
        ("SECOND_FACTOR_REQUIRED", "off", "SECOND_FACTOR_REQUIRED"),
        ("SIDELANE_MODE", "prod", "SIDELANE_MODE"),
    ],
)
def test_production_refuses_what_is_unsafe(
    tmp_path: Path, name: str, value: str, said: str
) -> None:
    done = start(tmp_path, **{name: value})
    assert done.returncode != 0 and said in done.stderr
