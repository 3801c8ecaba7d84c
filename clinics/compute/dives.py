"""Dives during the pool hour, counted and shared out among those who film under water. What is too
much for anybody is not said here: the club may set a limit, and posts.py has the cautions."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

from clinics.compute.checks import Errors, once, raise_if_any, within


@dataclass(frozen=True)
class Turn:
    """An operator under water while a lane group swims: so many dives."""

    group: str
    dives: int
    operator: str


@dataclass(frozen=True)
class Diver:
    """An operator's dives during the hour. `longest`: most of them without a group's rest.
    `over`: so many more than the club allows; 0 too if the club set no limit."""

    person: str
    dives: int
    longest: int
    over: int


@dataclass(frozen=True)
class Dives:
    """`nobody`: there is something to film under water and nobody who does. `limit_set`: if
    not, nothing was held against a limit, and only the caution speaks."""

    turns: tuple[Turn, ...]
    divers: tuple[Diver, ...]
    nobody: bool
    limit_set: bool


def dives_shared(
    passes: Sequence[tuple[str, int]], operators: Sequence[str], most_each: int | None = None
) -> Dives:
    """Who is under water for which lane group: whole groups, so that each rests for at least one
    while another dives; of those who rested, whoever has the fewest dives so far.

    `passes`: in the order of the hour, each lane group and its passes under water (swims times
    passes by the station). `most_each`: the club's own limit; there is no other one here.
    BadInput: an operator or a group twice, a number that cannot be meant.

    >>> shared = dives_shared([("A", 8), ("B", 6), ("C", 8), ("D", 6)], ["Ada", "Wren"])
    >>> [(diver.person, diver.dives, diver.longest) for diver in shared.divers]
    [('Ada', 16, 8), ('Wren', 12, 6)]
    """
    _check_dives(passes, operators, most_each)
    turns: list[Turn] = []
    so_far = dict.fromkeys(operators, 0)
    for group, dives in passes:
        if dives and operators:
            last = turns[-1].operator if turns else None
            rested = [one for one in operators if one != last] or operators
            turns.append(Turn(group, dives, min(rested, key=lambda one: so_far[one])))
            so_far[turns[-1].operator] += dives
    divers = tuple(_diver(one, turns, most_each) for one in operators)
    nobody = not operators and any(dives for _group, dives in passes)
    return Dives(tuple(turns), divers, nobody, most_each is not None)


def _check_dives(
    passes: Sequence[tuple[str, int]], operators: Sequence[str], most_each: int | None
) -> None:
    errors: Errors = []
    once("operators", operators, errors)
    once("groups", [group for group, _dives in passes], errors)
    for group, dives in passes:
        within(dives, 0, 10_000, f"group {group}.dives", errors)
    if most_each is not None:
        within(most_each, 1, 10_000, "most_each", errors)
    raise_if_any(errors)


def _diver(person: str, turns: Sequence[Turn], most_each: int | None) -> Diver:
    dives = sum(turn.dives for turn in turns if turn.operator == person)
    in_a_row = [
        sum(turn.dives for turn in row) for who, row in groupby(turns, _who) if who == person
    ]
    over = max(dives - most_each, 0) if most_each is not None else 0
    return Diver(person, dives, max(in_a_row, default=0), over)


def _who(turn: Turn) -> str:
    return turn.operator
