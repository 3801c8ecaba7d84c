"""What the benches of the watch room share."""

from __future__ import annotations

from typing import Any

import pytest

from tests.cast import Cast, build_cast
from tests.feedback.painted_room import Paper, Station4, make_room


@pytest.fixture(scope="session")
def stations(tmp_path_factory: pytest.TempPathFactory) -> list[Station4]:
    """Four painted views of 25 s at 540 lines, as heavy as filmed ones."""
    folder = tmp_path_factory.mktemp("room")
    return make_room(folder, seconds=25, paper=Paper(960, 540, 10), heights=(540,))


@pytest.fixture
def site_cast(transactional_db: None, settings: Any) -> Cast:
    settings.SECOND_FACTOR_REQUIRED = False
    return build_cast()
