from __future__ import annotations

import pytest

from tests.feedback.rate_read.filmed import Filmed, film


@pytest.fixture(scope="session")
def filmed(tmp_path_factory: pytest.TempPathFactory) -> Filmed:
    """Drawn and cut once."""
    return film(tmp_path_factory.mktemp("rate"))
