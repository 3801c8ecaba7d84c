"""What the tests of the watch room share."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from tests.cast import Cast, build_cast
from tests.feedback.filmed_swim import Filmed
from tests.feedback.painted_room import Station4, put_room, room_of_run


@pytest.fixture(scope="session")
def stations(tmp_path_factory: pytest.TempPathFactory) -> list[Station4]:
    """Four painted recordings, drawn and cut once."""
    return room_of_run(tmp_path_factory, 6)


@pytest.fixture
def filmed(cast: Cast, stations: list[Station4]) -> Filmed:
    """Tomas's swim from those four places."""
    return Filmed(cast, put_room(cast, stations), stations)


@pytest.fixture
def rooms(browser: Any, live_server: Any, stations: Any, settings: Any) -> Iterator[Any]:
    """Opens the four views for their coach; at the end nothing may have complained."""
    from tests.feedback.room_page import RoomPage, open_room  # only they need Playwright

    settings.SECOND_FACTOR_REQUIRED = False
    cast = build_cast()
    clips = put_room(cast, stations)
    opened: list[RoomPage] = []

    def room(kind: str | None = None, **how: Any) -> RoomPage:
        made = open_room(browser, live_server.url, cast.coach, clips, stations, kind=kind, **how)
        opened.append(made)
        return made

    yield room
    for one in opened:
        one.close()
