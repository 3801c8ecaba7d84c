"""Two checkers at the same moment, in two threads with connections of their own: one of them acts,
the other is told. On SQLite the write lock of the database sees to it, on PostgreSQL the clinic's
row."""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connections

from clinics.actions import board
from clinics.actions.cut import plan_cuts
from clinics.models import BoardAct, Clip, Duty
from tests.cast import Cast, build_cast, make_member, make_user
from tests.clinics.board_tools import fresh, fresh_clip

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def second(cast: Cast) -> Any:
    user = make_user("ola.brandt@harbourlane.example", "Ola Brandt")
    make_member(cast.harbour, user, "crew")
    Duty.objects.create(clinic=cast.clinic, user=user, kind="checker")
    return user


@pytest.fixture
def cast(transactional_db: None) -> Cast:
    return build_cast()


def at_once(*acts: Callable[[], Any]) -> list[Any]:
    """What each returned, or the refusal that it raised."""
    ready, found = threading.Barrier(len(acts)), [None] * len(acts)

    def run(number: int, act: Callable[[], Any]) -> None:
        try:
            ready.wait()
            found[number] = act()
        except Exception as problem:
            found[number] = problem  # type: ignore[call-overload]
        finally:
            connections.close_all()

    threads = [threading.Thread(target=run, args=pair) for pair in enumerate(acts)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    return found


def one_did(found: list[Any], match: str) -> None:
    did = [one for one in found if isinstance(one, BoardAct)]
    told = [one for one in found if isinstance(one, board.CheckRefused)]
    assert len(did) == 1 and len(told) == 1, found
    assert match in str(told[0])


def test_one_of_two_nudges_counts(cast: Cast, second: Any) -> None:
    clip = cast.clips["tomas"][1]
    pages = [(fresh_clip(clip), by) for by in (cast.checker, second)]
    one_did(
        at_once(*(lambda c=c, by=by: board.nudge(clip=c, frames=1, by=by) for c, by in pages)),
        "moved meanwhile",
    )
    assert Clip.objects.get(pk=clip.pk).first_frame == clip.first_frame + 1


def test_two_who_see_the_same_swap_do_it_once(cast: Cast, second: Any) -> None:
    pages = [
        (fresh(cast.swims["tomas"]), fresh(cast.swims["wren"]), cast.checker),
        (fresh(cast.swims["wren"]), fresh(cast.swims["tomas"]), second),
    ]
    one_did(
        at_once(
            *(
                lambda a=a, b=b, by=by: board.swap_swimmers(one=a, other=b, by=by)
                for a, b, by in pages
            )
        ),
        "said meanwhile that this swim is",
    )
    assert fresh(cast.swims["tomas"]).entry == cast.swims["wren"].entry


def test_an_act_is_undone_once(cast: Cast, second: Any) -> None:
    act = board.nudge(clip=fresh_clip(cast.clips["tomas"][1]), frames=4, by=cast.checker)
    one_did(
        at_once(*(lambda by=by: board.undo(act=act, by=by) for by in (cast.checker, second))),
        "undone already",
    )
    assert BoardAct.objects.get().undone_at is not None


def test_what_a_person_places_while_cuts_are_planned_stays(cast: Cast) -> None:
    """Whichever comes first: placed before, it is left alone; after, it is told that it moved."""
    clip = fresh_clip(cast.clips["tomas"][1])
    placed, _plan = at_once(
        lambda: board.nudge(clip=clip, frames=9, by=cast.checker),
        lambda: plan_cuts(clinic=cast.clinic),
    )
    row = Clip.objects.get(pk=clip.pk)
    if isinstance(placed, BoardAct):
        assert (row.first_frame, row.window_by) == (clip.first_frame + 9, "person")
    else:
        assert "moved meanwhile" in str(placed) and row.window_by != "person"
