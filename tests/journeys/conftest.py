"""What journeys through a swim's page share."""

from __future__ import annotations

import pytest

from tests.feedback.painted_swim import Film, make_film
from tests.journeys.room import PHONE, WIDE
from tests.once import once_a_run


@pytest.fixture(scope="session")
def film(tmp_path_factory: pytest.TempPathFactory) -> Film:
    """Painted and rendered once; nobody changes it (`put_film` copies)."""
    return once_a_run(tmp_path_factory, "film", make_film)


@pytest.fixture(params=[WIDE, PHONE], ids=["1280", "360"])
def size(request: pytest.FixtureRequest) -> dict[str, int]:
    """A window. Compare with `is PHONE`."""
    return request.param
