"""Dives counted and shared out among those who film under water. Expected values by hand."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from clinics.compute.dives import dives_shared
from clinics.compute.errors import BadInput

quick = settings(max_examples=60, deadline=None)


def test_two_operators_take_lane_groups_in_turns() -> None:
    """By hand: five groups of eight swims, twice past the station."""
    shared = dives_shared([(group, 16) for group in "ABCDE"], ["Ada", "Wren"])
    assert [turn.operator for turn in shared.turns] == ["Ada", "Wren", "Ada", "Wren", "Ada"]
    assert [(one.dives, one.longest) for one in shared.divers] == [(48, 16), (32, 16)]
    assert (shared.nobody, shared.limit_set) == (False, False)


def test_only_the_clubs_own_limit_is_a_limit() -> None:
    passes = [("A", 400), ("B", 10)]
    assert [one.over for one in dives_shared(passes, ["Ada", "Wren"]).divers] == [0, 0]
    shared = dives_shared(passes, ["Ada", "Wren"], most_each=30)
    assert [one.over for one in shared.divers] == [370, 0]
    assert shared.limit_set
    assert dives_shared([("A", 30)], ["Ada"], most_each=30).divers[0].over == 0


def test_one_operator_alone_has_no_rest() -> None:
    (ada,) = dives_shared([("A", 8), ("B", 0), ("C", 9)], ["Ada"]).divers
    assert (ada.dives, ada.longest) == (17, 17)


def test_dives_and_nobody_to_dive_is_said() -> None:
    assert dives_shared([("A", 8)], []).nobody
    assert not dives_shared([("A", 0)], []).nobody
    assert dives_shared([], ["Ada"]).divers[0].longest == 0


def test_dives_that_cannot_be_meant_are_all_named() -> None:
    with pytest.raises(BadInput) as bad:
        dives_shared([("A", -1), ("A", 3)], ["Ada", "Ada"], most_each=0)
    named = [where for where, _sentence in bad.value.errors]
    assert named == ["operators", "groups", "group A.dives", "most_each"]


@quick
@given(
    st.lists(st.integers(min_value=0, max_value=60), max_size=12),
    st.integers(min_value=2, max_value=4),
)
def test_every_dive_is_somebodys_and_each_rests(groups: list[int], count: int) -> None:
    passes = [(f"G{n}", dives) for n, dives in enumerate(groups)]
    shared = dives_shared(passes, "ABCD"[:count])
    assert [(turn.group, turn.dives) for turn in shared.turns] == [p for p in passes if p[1]]
    assert sum(one.dives for one in shared.divers) == sum(groups)
    assert all(
        one.operator != after.operator
        for one, after in zip(shared.turns, shared.turns[1:], strict=False)
    )
    assert all(one.longest <= max(groups, default=0) for one in shared.divers)


@quick
@given(
    st.integers(min_value=0, max_value=12),
    st.integers(min_value=1, max_value=60),
    st.integers(min_value=1, max_value=4),
)
def test_even_groups_are_shared_evenly(groups: int, dives: int, count: int) -> None:
    shared = dives_shared([(f"G{n}", dives) for n in range(groups)], "ABCD"[:count])
    counts = [one.dives for one in shared.divers]
    assert max(counts) - min(counts) <= dives
