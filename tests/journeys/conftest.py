"""What journeys through a swim's page share."""

from __future__ import annotations

import pytest

from tests.feedback.painted_swim import Film, make_film
from tests.journeys.room import PHONE, WIDE


@pytest.fixture(scope="session")
def film(tmp_path_factory: pytest.TempPathFactory) -> Film:
    """Painted and rendered once; nobody changes it (`put_film` copies)."""
    return make_film(tmp_path_factory.mktemp("film"))


@pytest.fixture(params=[WIDE, PHONE], ids=["1280", "360"])
def size(request: pytest.FixtureRequest) -> dict[str, int]:
    """A window. Compare with `is PHONE`."""
    return request.param
