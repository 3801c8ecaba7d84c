"""What is due before and after a clinic. Which tasks, and how early: common practice, no source."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from clinics.compute.errors import BadInput, Said
from clinics.compute.tasks_ahead import (
    MOST_DAYS_AFTER,
    MOST_DAYS_BEFORE,
    TASKS,
    Due,
    Needs,
    Role,
    State,
    Task,
    copied_from,
    tasks_for,
)

DAY = dt.date(2027, 3, 6)
DAYS = st.dates(min_value=dt.date(2020, 1, 1), max_value=dt.date(2040, 12, 31))
KEYS = st.sets(st.sampled_from([task.key for task in TASKS]))
CAKE = Task("cake", "Order the cake", 5, Needs.ALWAYS, Role.CREW)
quick = settings(max_examples=60, deadline=None)


def due_for(
    day: dt.date = DAY,
    *,
    today: dt.date = DAY,
    everything: bool = True,
    copied: tuple[Task, ...] = (),
    done: Collection[str] = (),
) -> list[Due]:
    return tasks_for(
        day,
        today=today,
        has_underwater=everything,
        uses_blocks=everything,
        minors_in_hall=everything,
        copied=copied,
        done=done,
    )


def dates(due: list[Due]) -> dict[str, dt.date]:
    return {one.task.key: one.day for one in due}


def test_dates_by_a_calendar() -> None:
    """Counted on a calendar of 2027: February has 28 days."""
    days = dates(due_for())
    assert days["permission"] == dt.date(2027, 1, 9)
    assert days["consent-reminder"] == dt.date(2027, 2, 27)
    assert days["try-out"] == dt.date(2027, 3, 5)
    assert days["cards-in"] == DAY
    assert days["closed"] == dt.date(2027, 3, 20)


@pytest.mark.parametrize(
    ("today", "state"),
    [
        (dt.date(2027, 2, 19), State.LATER),
        (dt.date(2027, 2, 20), State.SOON),
        (dt.date(2027, 2, 27), State.SOON),
        (dt.date(2027, 2, 28), State.OVERDUE),
    ],
)
def test_the_state_turns_on_the_day(today: dt.date, state: State) -> None:
    (reminder,) = [one for one in due_for(today=today) if one.task.key == "consent-reminder"]
    assert (reminder.day, reminder.state) == (dt.date(2027, 2, 27), state)


def test_what_has_to_come_first_does() -> None:
    days = dates(due_for())
    assert days["checker-named"] < days["consent-asked"] < days["consent-reminder"]
    assert days["venue-sheet"] <= days["starts-agreed"] < days["sign-up"] <= days["consent-asked"]
    assert days["consent-reminder"] < days["running-order"] <= days["numbers"]
    assert days["cards-and-batteries"] < days["try-out"] < days["cards-in"] < days["cards-wiped"]
    assert days["originals"] < days["closed"]


@pytest.mark.parametrize(
    ("field", "keys"),
    [
        ("has_underwater", {"under-water-agreed", "housing"}),
        ("uses_blocks", {"starts-agreed"}),
        ("minors_in_hall", {"juniors"}),
    ],
)
def test_some_are_due_only_where_they_are_needed(field: str, keys: set[str]) -> None:
    def due(*held: str) -> dict[str, dt.date]:
        names = ("has_underwater", "uses_blocks", "minors_in_hall")
        under, blocks, minors = [name in held for name in names]
        return dates(
            tasks_for(
                DAY, today=DAY, has_underwater=under, uses_blocks=blocks, minors_in_hall=minors
            )
        )

    without, with_it = due(), due(field)
    assert with_it.keys() - without.keys() == keys
    assert without.keys() < with_it.keys()


def test_every_task_has_words_and_a_key_of_its_own() -> None:
    assert len({task.key for task in TASKS}) == len(TASKS)
    assert all(isinstance(task.words, Said) and task.words for task in TASKS)


def test_done_ones_stand_last_and_are_not_overdue() -> None:
    due = due_for(today=DAY, done={"permission", "closed", "no-such-task"})
    assert [one.task.key for one in due[-2:]] == ["permission", "closed"]
    assert {one.state for one in due[-2:]} == {State.DONE}
    assert State.DONE not in {one.state for one in due[:-2]}


def test_a_clinics_own_tasks_and_moved_days_are_copied() -> None:
    """The cake was ordered on 1 March for 6 March, the sign-up opened on 1 February (33 days)."""
    sign_up = next(task for task in TASKS if task.key == "sign-up")
    earlier = [
        Due(CAKE, dt.date(2027, 3, 1), State.DONE),
        Due(sign_up, dt.date(2027, 2, 1), State.DONE),
    ]
    copied = copied_from(DAY, earlier)
    due = due_for(dt.date(2027, 9, 11), today=dt.date(2027, 7, 1), copied=copied)
    assert dates(due)["cake"] == dt.date(2027, 9, 6)
    assert dates(due)["sign-up"] == dt.date(2027, 8, 9)
    assert State.DONE not in {one.state for one in due}
    assert len(due) == len(TASKS) + 1


def test_a_known_task_keeps_its_words_when_copied() -> None:
    stale = Task("sign-up", "Something from before", 40, Needs.MINORS, Role.CREW)
    due = due_for(everything=False, copied=(stale,))
    (sign_up,) = [one.task for one in due if one.task.key == "sign-up"]
    assert (str(sign_up.words), sign_up.days_before) == ("Open the sign-up", 40)


def test_copied_tasks_that_cannot_be_meant_are_all_named() -> None:
    far = Task("far", "Far", MOST_DAYS_BEFORE + 1, Needs.ALWAYS, Role.CREW)
    late = Task("late", "Late", -MOST_DAYS_AFTER - 1, Needs.ALWAYS, Role.CREW)
    with pytest.raises(BadInput) as bad:
        due_for(copied=(CAKE, CAKE, far, late))
    named = [where for where, _sentence in bad.value.errors]
    assert named == ["tasks", "task far.days_before", "task late.days_before"]


@quick
@given(DAYS, st.integers(min_value=-400, max_value=400), st.integers(-100, 100), KEYS)
def test_moving_the_day_moves_all_dates_alike(
    day: dt.date, by: int, ahead: int, done: set[str]
) -> None:
    """And with today moved as far, every state is as it was."""
    move, today = dt.timedelta(days=by), day + dt.timedelta(days=ahead)
    here = due_for(day, today=today, copied=(CAKE,), done=done)
    there = due_for(day + move, today=today + move, copied=(CAKE,), done=done)
    assert [Due(one.task, one.day + move, one.state) for one in here] == there


@quick
@given(DAYS, DAYS, KEYS, KEYS)
def test_done_tasks_never_come_back_as_open(
    day: dt.date, today: dt.date, done: set[str], more: set[str]
) -> None:
    for ticked in (done, done | more):
        due = due_for(day, today=today, done=ticked)
        assert {one.task.key for one in due if one.state is State.DONE} == ticked
        states = [one.state is State.DONE for one in due]
        assert states == sorted(states), "done ones stand apart"


@quick
@given(DAYS, DAYS, st.booleans())
def test_every_date_is_within_the_weeks_and_in_order(
    day: dt.date, today: dt.date, everything: bool
) -> None:
    due = due_for(day, today=today, everything=everything)
    first, last = dt.timedelta(days=MOST_DAYS_BEFORE), dt.timedelta(days=MOST_DAYS_AFTER)
    assert all(day - first <= one.day <= day + last for one in due)
    assert [one.day for one in due] == sorted(one.day for one in due)
    for one in due:
        assert (one.state is State.OVERDUE) == (one.day < today)


@quick
@given(DAYS, DAYS)
def test_a_copy_of_a_clinic_is_the_clinic_again(day: dt.date, next_day: dt.date) -> None:
    earlier = due_for(day, today=day, copied=(CAKE,))
    again = due_for(next_day, today=next_day, copied=copied_from(day, earlier))
    assert dates(again) == dates(due_for(next_day, today=next_day, copied=(CAKE,)))
