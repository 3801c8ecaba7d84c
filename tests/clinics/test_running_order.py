"""Names of heard starts: whatever people say of them, names only shift and keep their order."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from clinics.compute.running_order import Heard, name_starts, somebody_missing, went_twice

ORDER = [f"swimmer {n:02d}" for n in range(1, 9)]
SAID = st.lists(
    st.tuples(st.sampled_from(["no start", "missing", "twice"]), st.integers(0, 9)), max_size=12
)


def say(heard: list[Heard], what: str, at: int) -> list[Heard]:
    """What a button of the page does."""
    one = heard[at]
    if what == "no start":
        said = replace(one, is_start=False, chosen=None)
    else:
        if not one.is_start:
            return heard
        whose = (somebody_missing if what == "missing" else went_twice)(heard, ORDER, one.key)
        if whose is None:
            return heard
        said = replace(one, chosen=whose)
    return [*heard[:at], said, *heard[at + 1 :]]


@given(count=st.integers(1, 10), said=SAID)
def test_names_only_shift_and_keep_their_order(count: int, said: list[tuple[str, int]]) -> None:
    """Said from above to below, as somebody goes down the list."""
    heard = [Heard(f"start {n}") for n in range(count)]
    for what, at in sorted(said, key=lambda one: one[1]):
        heard = say(heard, what, at % count) if at < count else heard
    named = name_starts(heard, ORDER)
    places = [ORDER.index(named[one.key]) for one in heard if one.key in named]
    assert places == sorted(places), "in running order"
    for before, after in zip(places, places[1:], strict=False):
        assert after - before >= 0
    twice = [one for one in heard if one.is_start and one.chosen is not None]
    assert len(places) - len(set(places)) <= len(twice), "nobody twice unless somebody said so"
    assert not any(one.key in named for one in heard if not one.is_start)


@given(count=st.integers(2, 8), at=st.integers(0, 7))
def test_no_start_moves_the_rest_up_and_missing_moves_it_down(count: int, at: int) -> None:
    heard, at = [Heard(f"start {n}") for n in range(count)], at % count
    before = [name_starts(heard, ORDER)[one.key] for one in heard]
    up = name_starts(say(heard, "no start", at), ORDER)
    assert [up.get(one.key) for one in heard] == [*before[:at], None, *before[at:-1]]
    down = name_starts(say(heard, "missing", at), ORDER)
    shifted = [*ORDER[:at], *ORDER[at + 1 : count + 1]]
    if count < len(ORDER):
        assert [down.get(one.key) for one in heard] == shifted
    if at:
        twice = name_starts(say(heard, "twice", at), ORDER)
        assert [twice[one.key] for one in heard] == [*before[:at], *before[at - 1 : -1]]


def test_two_who_changed_places_do_not_shift_the_rest() -> None:
    heard = [Heard("a", chosen=ORDER[1]), Heard("b", chosen=ORDER[0]), Heard("c"), Heard("d")]
    assert name_starts(heard, ORDER) == dict(
        zip("abcd", [ORDER[1], ORDER[0], ORDER[2], ORDER[3]], strict=True)
    )


def test_more_starts_than_swimmers_leaves_starts_without_a_name() -> None:
    heard = [Heard("a"), Heard("b"), Heard("c")]
    assert name_starts(heard, ORDER[:2]) == {"a": ORDER[0], "b": ORDER[1]}
    assert somebody_missing(heard, ORDER[:2], "b") is None
    assert somebody_missing(heard, ORDER[:2], "c") is None
    assert went_twice(heard, ORDER[:2], "a") is None


def test_somebody_who_is_in_the_log_already_goes_again_without_a_shift() -> None:
    heard = [Heard("a"), Heard("b", chosen="somebody logged"), Heard("c")]
    named = name_starts(heard, ORDER)
    assert named == {"a": ORDER[0], "b": "somebody logged", "c": ORDER[1]}
