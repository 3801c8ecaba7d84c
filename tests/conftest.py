"""What all tests share."""

from __future__ import annotations

import pytest

from tests.cast import Cast, build_cast


@pytest.fixture
def cast(db: None) -> Cast:
    """The fixed cast with its data (tests/cast.py)."""
    return build_cast()
