"""What cannot be right about the swims of a clinic, taken together.

One swimmer is in the water of the circuit at a time for some seconds, nobody swims twice at
once, and a number card has one number. Where that does not hold, a person has to look.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum

SAME_START_S = 4.0  # nobody is sent so soon after another: the start log locks for eight seconds


class Oddity(StrEnum):
    """What is odd about a swim."""

    SAME_START = "same-start"  # starts at the same time as `other`, or nearly
    TWICE = "twice"  # its swimmer is still swimming `other`
    CARD = "card"  # the card was read as `number`, and the swimmer has another one


@dataclass(frozen=True)
class Go:
    """A swim as it is noted. Times in seconds from any common instant."""

    key: Hashable
    swimmer: Hashable
    start_s: float
    lasts_s: float
    number: int
    number_seen: int | None = None


@dataclass(frozen=True)
class Odd:
    """One oddity of a swim: the other swim it is about, and how many seconds apart."""

    what: Oddity
    other: Hashable = None
    apart_s: float = 0.0
    number: int = 0


def oddities(goes: Iterable[Go]) -> dict[Hashable, list[Odd]]:
    """By swim, only those that are odd; both swims of a pair are.

    >>> found = oddities([Go("a", "Tomas", 0.0, 40.0, 1), Go("b", "Wren", 0.5, 40.0, 2)])
    >>> [(key, odd.what.value, odd.other, odd.apart_s) for key, (odd,) in found.items()]
    [('a', 'same-start', 'b', 0.5), ('b', 'same-start', 'a', 0.5)]
    >>> oddities([Go("a", "Tomas", 0.0, 40.0, 1), Go("b", "Tomas", 60.0, 40.0, 1)])
    {}
    """
    ordered = sorted(goes, key=lambda go: go.start_s)
    found: defaultdict[Hashable, list[Odd]] = defaultdict(list)
    for one, other in zip(ordered, ordered[1:], strict=False):
        if other.start_s - one.start_s < SAME_START_S:
            _both(found, Oddity.SAME_START, one, other)
    for own in _by_swimmer(ordered):
        for one, other in zip(own, own[1:], strict=False):
            apart_s = other.start_s - one.start_s
            if SAME_START_S <= apart_s < one.lasts_s:
                _both(found, Oddity.TWICE, one, other)
    for go in ordered:
        if go.number_seen is not None and go.number_seen != go.number:
            found[go.key].append(Odd(Oddity.CARD, number=go.number_seen))
    return dict(found)


def _both(found: dict[Hashable, list[Odd]], what: Oddity, one: Go, other: Go) -> None:
    apart_s = round(other.start_s - one.start_s, 3)
    found[one.key].append(Odd(what, other.key, apart_s))
    found[other.key].append(Odd(what, one.key, apart_s))


def _by_swimmer(goes: Sequence[Go]) -> Iterable[list[Go]]:
    own: defaultdict[Hashable, list[Go]] = defaultdict(list)
    for go in goes:
        own[go.swimmer].append(go)
    return own.values()
