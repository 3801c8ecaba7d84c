"""The examples in docstrings run, wherever they stand."""

from __future__ import annotations

import doctest
import importlib
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
WITH_EXAMPLES = sorted(
    str(path.relative_to(ROOT).with_suffix("")).replace("/", ".")
    for package in ("portal", "clinics", "feedback")
    for path in (ROOT / package).rglob("*.py")
    if ">>> " in path.read_text(encoding="utf-8")
)


@pytest.mark.parametrize("name", WITH_EXAMPLES)
def test_examples_in_docstrings_hold(name: str) -> None:
    found = doctest.testmod(importlib.import_module(name))
    assert found.attempted > 0 and found.failed == 0
