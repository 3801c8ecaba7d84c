"""Lines of several phones: what is one start, which line leads, what contradicts."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest

from clinics.compute.logged_starts import Conflict, Logged, conflicts, leading, same_starts

TEN = dt.datetime(2026, 11, 14, 10, tzinfo=dt.UTC)


def line(client_id: str, at_s: float, number: int | None = 21, **more: Any) -> Logged:
    told: dict[str, Any] = {
        "key": client_id,
        "outcome": "away",
        "u_ms": 4.0,
        "by_server": False,
        "phone": client_id[:3],
        "phone_name": client_id[:3].title(),
        "is_logger": False,
        "swims_s": 45.0,
        **more,
    }
    instant = TEN + dt.timedelta(seconds=at_s)
    return Logged(client_id=client_id, instant=instant, number=number, **told)


def one(lines: list[Logged], again: bool = False) -> Conflict:
    (found,) = conflicts(lines, lambda _number: again)
    assert conflicts(lines[::-1], lambda _number: again) == [found]
    return found


def test_one_start_is_what_came_within_eight_seconds_of_its_first_line() -> None:
    lines = [line("liv-1", 0), line("ida-1", 7.9), line("liv-2", 8.0), line("ida-2", 15.9)]
    groups = same_starts(lines[::-1])
    assert [[it.client_id for it in group] for group in groups] == [
        ["liv-1", "ida-1"],
        ["liv-2", "ida-2"],
    ]


@pytest.mark.parametrize(
    ("better", "worse"),
    [
        ({"u_ms": 60.0}, {"u_ms": 61.0}),
        ({"u_ms": 60.0}, {"u_ms": None, "is_logger": True}),
        ({"u_ms": 49.0, "is_logger": True}, {"u_ms": 3.0}),  # both are known well enough
        ({"u_ms": 60.0}, {"u_ms": None, "by_server": True}),
        ({"u_ms": None, "by_server": True}, {"u_ms": 140.0}),
        ({}, {"client_id": "zoe-1"}),
    ],
)
def test_the_better_clock_leads_then_the_logger(better: Any, worse: Any) -> None:
    first = line("liv-1", 0.4, **better)
    second = line(worse.pop("client_id", "kim-1"), 0.0, **worse)
    assert leading([first, second]) == leading([second, first]) == first


def test_the_same_start_on_two_phones_is_settled() -> None:
    found = one([line("liv-1", 0, is_logger=True), line("ida-1", 0.4)])
    assert (found.kind, found.settled) == ("two-phones-one-start", True)
    assert found.client_ids == ("liv-1", "ida-1") and found.numbers == (21,)
    assert "0.4 s apart: that is one start. The line of Liv counts" in found.words


def test_taps_that_are_too_far_apart_for_one_start_ask_for_a_look() -> None:
    found = one([line("liv-1", 0), line("ida-1", 3.1)])
    assert (found.kind, found.settled) == ("two-phones-one-start", False)
    assert "Undo the line that is wrong" in found.words


def test_two_swimmers_within_eight_seconds_cannot_both_be_in_the_lane() -> None:
    found = one([line("liv-1", 0, 21), line("ida-1", 7.9, 22)])
    assert (found.kind, found.numbers, found.settled) == ("too-close", (21, 22), False)
    assert "the lane holds one of them" in found.words
    assert conflicts([line("liv-1", 0, 21), line("ida-1", 8.0, 22)]) == []
    assert conflicts([line("liv-1", 0, 21), line("ida-1", 1.0, None)]) == []


def test_two_swimmers_whom_three_phones_disagree_about_are_said_once() -> None:
    lines = [line("liv-1", 0, 21), line("ida-1", 0.3, 22), line("kim-1", 0.5, 22)]
    kinds = [found.kind for found in conflicts(lines)]
    assert kinds.count("too-close") == 1


def test_another_phone_that_logs_the_same_swimmer_again_too_soon() -> None:
    """A clock that is half a minute wrong looks so."""
    found = one([line("liv-1", 0), line("ida-1", 20)])
    assert (found.kind, found.client_ids) == ("same-swimmer-twice", ("liv-1", "ida-1"))
    assert "20 s later" in found.words
    assert conflicts([line("liv-1", 0), line("ida-1", 300)]) == []  # a second go
    assert conflicts([line("liv-1", 0), line("liv-2", 20)]) == []  # one phone knows what it does


@pytest.mark.parametrize(
    ("at_s", "again", "told"),
    [
        (-30, False, True),
        (-90, False, False),  # did not come at first, and went later
        (30, False, True),
        (600, False, True),  # the other phone does not know that they went
        (600, True, False),  # nor came to the second go
        (30, True, True),
    ],
)
def test_away_on_one_phone_and_no_show_on_another(at_s: float, again: bool, told: bool) -> None:
    lines = [line("liv-1", 0), line("ida-1", at_s, outcome="no-show")]
    found = conflicts(lines, lambda _number: again)
    assert [(one.kind, set(one.client_ids)) for one in found] == (
        [("away-and-not", {"liv-1", "ida-1"})] if told else []
    )
    same_phone = [line("liv-1", 0), line("liv-2", at_s, outcome="no-show")]
    assert conflicts(same_phone) == []


def test_away_on_one_phone_and_not_filmed_on_another() -> None:
    found = one([line("liv-1", 0), line("ida-1", 0.5, outcome="not-filmed")])
    assert found.kind == "away-and-not" and "Nothing of this start is shown" in found.words


def test_what_was_called_back_or_passed_over_is_no_contradiction() -> None:
    others = [line("ida-1", 0.5, outcome="false-start"), line("kim-1", 1, outcome="skipped")]
    assert conflicts([line("liv-1", 2), *others]) == []


def test_a_phone_without_a_name_and_the_form_are_called_so() -> None:
    found = one([line("liv-1", 0, phone_name=""), line("ida-1", 3, 22, by_server=True)])
    assert "21 (a phone without a name) and 22 (the form or a file)" in found.words
