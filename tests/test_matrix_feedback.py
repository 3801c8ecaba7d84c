"""Role × URL × owner, the whole cast: every URL of feedback, measures, keeping and showing.

`tests/matrix/` says for each URL who is let through. Whoever is not gets, on every verb and for a
byte range too, exactly the answer that a random id gives.
"""

from __future__ import annotations

import pytest

from tests.cast import Cast
from tests.matrix import feedback, keeping, showing
from tests.matrix.walk import walk

AREAS = (feedback, keeping, showing)


@pytest.mark.parametrize("name", [name for area in AREAS for name in area.ROWS])
def test_the_whole_cast_on(name: str, cast: Cast) -> None:
    walk(name, cast)
