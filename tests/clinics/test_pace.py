"""Times as swimmers write them, and who joins which group."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clinics.compute.pace import as_time, pace_ok, pace_s_per_100m, time_s
from clinics.compute.rotation import ClinicHour, Goer
from clinics.compute.sign_up_groups import how_many_fit, propose_groups


@pytest.mark.parametrize(
    ("text", "over_m", "pace"),
    [
        ("95", 100, 95.0),
        ("1:35", 100, 95.0),
        ("1:35,5", 100, 95.5),
        ("0:42", 50, 84.0),
        ("42 s", 50, 84.0),
        ("6:20", 400, 95.0),
        ("1' 05\"", 100, 65.0),
        ("50 m in 0:42", 100, 84.0),
        ("200m: 3:10", 25, 95.0),
        ("50 m en 42 s", 100, 84.0),
    ],
)
def test_pace_from_a_time_for_a_distance(text: str, over_m: float, pace: float) -> None:
    assert pace_s_per_100m(text, over_m=over_m) == pace


@pytest.mark.parametrize("text", ["", "fast", "1:75", "1:2:3", "-40", "1e3", "١:٣٥", "0:42 0:43"])
def test_what_is_no_time_is_none(text: str) -> None:
    assert pace_s_per_100m(text, over_m=100) is None or not pace_ok(
        pace_s_per_100m(text, over_m=100) or 0
    )


def test_no_distance_is_no_pace() -> None:
    assert pace_s_per_100m("0 m in 42", over_m=100) is None
    assert pace_s_per_100m("42", over_m=0) is None


@given(st.integers(400, 6000))
def test_a_pace_that_is_shown_is_read_as_the_same(tenths: int) -> None:
    assert time_s(as_time(tenths / 10)) == pytest.approx(tenths / 10)


paces = st.lists(st.floats(40, 600), min_size=1, max_size=60)


@given(paces, st.lists(st.tuples(st.sampled_from("ABC"), st.floats(40, 600)), max_size=20))
def test_everybody_new_gets_one_group_and_no_group_gets_slower_without_need(
    new: list[float], there: list[tuple[str, float]]
) -> None:
    goers = [Goer(n, "", pace) for n, pace in enumerate(new)]
    entered = [Goer(-n, group, pace) for n, (group, pace) in enumerate(there, start=1)]
    found = propose_groups(goers, entered, [])
    assert sorted(one.key for one in found) == list(range(len(new)))  # type: ignore[type-var]
    slowest = {g: max(pace for name, pace in there if name == g) for g, _pace in there}
    for one in found:
        if slowest and new[one.key] <= max(slowest.values()):  # type: ignore[index]
            assert new[one.key] <= slowest[one.group]  # type: ignore[index]


@given(st.integers(1, 60), st.integers(1, 12))
def test_even_groups_differ_by_one_at_most(count: int, groups: int) -> None:
    goers = [Goer(n, "", 60.0 + n) for n in range(count)]
    found = propose_groups(goers, [], [], count=groups)
    sizes = [sum(one.group == name for one in found) for name in {one.group for one in found}]
    assert len(sizes) == min(count, groups) and max(sizes) - min(sizes) <= 1


def test_sixty_do_not_fit_and_forty_do() -> None:
    """Facts of the trade: common practice, no published source."""
    hour = ClinicHour(25.0, 60.0, 3600.0)
    paces_of_40 = [80.0 + n for n in range(40)]
    assert 40 <= how_many_fit(hour, paces_of_40) < 60


def test_nobody_fits_an_hour_that_is_too_short() -> None:
    assert how_many_fit(ClinicHour(25.0, 75.0, 60.0), []) == 0
