"""What is due in the weeks before a clinic and in the days after it.

Each task counts in whole days from the clinic's day, so that moving the day moves all of them.
What is to be done and how early is common practice, no source; a club moves and adds its own by
copying an earlier clinic.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Iterable
from dataclasses import dataclass, replace
from enum import StrEnum

from clinics.compute.checks import Errors, once, raise_if_any, within
from clinics.compute.errors import say as _

MOST_DAYS_BEFORE, MOST_DAYS_AFTER = 56, 30
SOON_DAYS = 7


class Needs(StrEnum):
    """At which clinics a task is due."""

    ALWAYS = "always"
    UNDERWATER = "underwater"  # a station under water
    BLOCKS = "blocks"  # somebody starts from a block or the edge
    MINORS = "minors"  # juniors are in the hall then


class Role(StrEnum):
    ADMIN = "admin"
    CREW = "crew"
    CHECKER = "checker"


class State(StrEnum):
    OVERDUE = "overdue"
    SOON = "soon"  # today or within a week
    LATER = "later"
    DONE = "done"


@dataclass(frozen=True)
class Task:
    """`key` stays what it is, so that a tick can be kept. `days_before` the clinic's day;
    negative: after it. `words` can be said in the reader's language unless a club wrote them."""

    key: str
    words: str
    days_before: int
    needs: Needs
    for_role: Role


@dataclass(frozen=True)
class Due:
    task: Task
    day: dt.date
    state: State


_ALWAYS, _ADMIN, _CREW = Needs.ALWAYS, Role.ADMIN, Role.CREW
TASKS: tuple[Task, ...] = (
    Task("permission", _("Ask the pool operator: may we film, when, where"), 56, _ALWAYS, _ADMIN),
    Task(
        "venue-sheet",
        _("Complete the venue sheet: depth, by whom it was measured, and when"),
        42,
        _ALWAYS,
        _ADMIN,
    ),
    Task("other-users", _("Settle who else is in the hall then"), 42, _ALWAYS, _ADMIN),
    Task(
        "juniors",
        _("Settle with the juniors' coaches that no session of theirs is in the picture"),
        42,
        Needs.MINORS,
        _ADMIN,
    ),
    Task(
        "starts-agreed",
        _("Agree with the pool operator who may dive in, and from where"),
        42,
        Needs.BLOCKS,
        _ADMIN,
    ),
    Task("volunteers", _("Find somebody for each post"), 35, _ALWAYS, _ADMIN),
    Task("checker-named", _("Name the checker in the consent text"), 30, _ALWAYS, _ADMIN),
    Task("sign-up", _("Open the sign-up"), 28, _ALWAYS, _ADMIN),
    Task("consent-asked", _("Ask each swimmer for consent"), 21, _ALWAYS, _ADMIN),
    Task(
        "under-water-agreed",
        _("Agree with the pool operator on the underwater mount, or on who dives and who watches"),
        21,
        Needs.UNDERWATER,
        _ADMIN,
    ),
    Task("lifeguard-named", _("Get the lifeguard's name from the pool"), 14, _ALWAYS, _ADMIN),
    Task("consent-reminder", _("Remind who has not answered about consent"), 7, _ALWAYS, _ADMIN),
    Task("notice", _("Have the notice about filming put up in the hall"), 7, _ALWAYS, _ADMIN),
    Task("running-order", _("Send the running order to swimmers and crew"), 4, _ALWAYS, _ADMIN),
    Task("numbers", _("Print the number cards"), 3, _ALWAYS, _ADMIN),
    Task("cautions", _("Have everybody at a post read the cautions"), 3, _ALWAYS, _CREW),
    Task(
        "cards-and-batteries",
        _("Empty the cards once what was on them is safely in, and charge the batteries"),
        2,
        _ALWAYS,
        _CREW,
    ),
    Task("housing", _("Try the housing in water without its camera"), 2, Needs.UNDERWATER, _CREW),
    Task("try-out", _("Try the whole kit with two swimmers"), 1, _ALWAYS, _CREW),
    Task("clocks", _("Set the clocks of all cameras"), 1, _ALWAYS, _CREW),
    Task("cards-in", _("Collect every card and bring its recordings in"), 0, _ALWAYS, _CREW),
    Task("cards-wiped", _("Wipe the cards whose recordings are safely in"), -3, _ALWAYS, _CREW),
    Task("checked", _("Look through who is in which clip"), -7, _ALWAYS, Role.CHECKER),
    Task("originals", _("Look up on which day the originals go"), -7, _ALWAYS, _ADMIN),
    Task("closed", _("Close the clinic"), -14, _ALWAYS, _ADMIN),
)


def tasks_for(
    day: dt.date,
    *,
    today: dt.date,
    has_underwater: bool,
    uses_blocks: bool,
    minors_in_hall: bool,
    copied: Iterable[Task] = (),
    done: Collection[str] = (),
) -> list[Due]:
    """What is due for a clinic on that day: open tasks by date, then the done ones by date.

    `copied`: from `copied_from`. A known key only moves that task, an unknown one is added.
    `done`: keys that somebody ticked; a key that is not due here is passed over. Dates fall on
    any day of the week. BadInput: a key twice in `copied`, or days beyond the weeks.

    >>> due = tasks_for(dt.date(2027, 3, 6), today=dt.date(2027, 1, 20), has_underwater=False,
    ...                 uses_blocks=False, minors_in_hall=False, done=["venue-sheet"])
    >>> [(one.task.key, one.day.isoformat(), one.state.value) for one in due[:2]]
    [('permission', '2027-01-09', 'overdue'), ('other-users', '2027-01-23', 'soon')]
    >>> due[-1].task.key
    'venue-sheet'
    """
    holds = {
        Needs.ALWAYS: True,
        Needs.UNDERWATER: has_underwater,
        Needs.BLOCKS: uses_blocks,
        Needs.MINORS: minors_in_hall,
    }
    tasks = [task for task in _with_copied(list(copied)) if holds[task.needs]]
    due = [_due(task, day, today, task.key in done) for task in tasks]
    return sorted(due, key=lambda one: (one.state is State.DONE, one.day))


def _with_copied(copied: list[Task]) -> list[Task]:
    errors: Errors = []
    once("tasks", [task.key for task in copied], errors)
    for task in copied:
        where = f"task {task.key}.days_before"
        within(task.days_before, -MOST_DAYS_AFTER, MOST_DAYS_BEFORE, where, errors)
    raise_if_any(errors)
    theirs = {task.key: task for task in copied}
    ours = [
        replace(task, days_before=theirs.pop(task.key, task).days_before)  # words stay ours
        for task in TASKS
    ]
    return [*ours, *theirs.values()]


def _due(task: Task, day: dt.date, today: dt.date, is_done: bool) -> Due:
    due = day - dt.timedelta(days=task.days_before)
    return Due(task, due, State.DONE if is_done else _state(due, today))


def _state(due: dt.date, today: dt.date) -> State:
    days = (due - today).days
    if days < 0:
        return State.OVERDUE
    return State.SOON if days <= SOON_DAYS else State.LATER


def copied_from(earlier_day: dt.date, earlier: Iterable[Due]) -> tuple[Task, ...]:
    """An earlier clinic's tasks, as far before the day as they were dated there. That they were
    done there is not copied.

    >>> task = Task("cake", "Order the cake", 0, Needs.ALWAYS, Role.CREW)
    >>> due = Due(task, dt.date(2026, 3, 2), State.DONE)
    >>> copied_from(dt.date(2026, 3, 7), [due])[0].days_before
    5
    """
    return tuple(replace(one.task, days_before=(earlier_day - one.day).days) for one in earlier)
