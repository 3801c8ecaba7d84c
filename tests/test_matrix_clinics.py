"""Role × URL × owner, the whole cast: every URL of the site, of plans,
footage, checking, consent and one's own data.

`tests/matrix/` says for each URL who is let through. Whoever is not gets, on every verb and for a
byte range too, exactly the answer that a random id gives.
"""

from __future__ import annotations

import pytest

from tests.cast import Cast
from tests.matrix import checking, consent, footage, own_data, plan, portal
from tests.matrix.walk import walk

AREAS = (portal, plan, footage, checking, consent, own_data)


@pytest.mark.parametrize("name", [name for area in AREAS for name in area.ROWS])
def test_the_whole_cast_on(name: str, cast: Cast) -> None:
    walk(name, cast)
