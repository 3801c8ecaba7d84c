"""Two swims in step from an event that is marked on both: which events those are, and what is
taken off each swim's time. Which views belong together: compare_views.py.

Nothing is guessed from pace. The start is known of every swim; any other event is common only
if somebody marked it on both.

>>> first = [Placed("breakout", 6.2)]
>>> found = common_marks(first, [Placed("breakout", 5.7), Placed("feet-touch-wall", 14.0)])
>>> [(mark.name, mark.at_s) for mark in found.marks]
[('start', (0.0, 0.0)), ('breakout', (6.2, 5.7))]
>>> found.missing
(Missing(common=<Common.TURN: 'turn'>, on=(False, True)),)
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum

EVENT_APART_S = 3.0  # marks of one event lie nearer together; two turns or breakouts never do


class Common(StrEnum):
    """From which event two swims can run in step."""

    START = "start"
    BREAKOUT = "breakout"
    TURN = "turn"


MARKED_BY = {
    Common.START: ("start-signal",),
    Common.BREAKOUT: ("breakout",),
    Common.TURN: ("hands-touch-wall", "feet-touch-wall"),
}


@dataclass(frozen=True)
class Placed:
    """A mark with its time in the swim, s. `order` grows with the time at which it was placed;
    `mine`: by who looks now, which comes before what others placed; `view`: in which one."""

    kind: str
    at_s: float
    order: int = 0
    mine: bool = False
    view: str = ""


@dataclass(frozen=True)
class CommonMark:
    """Event number `n` (from 1) of its kind on both swims. Taking `at_s` off each swim's own
    time gives the time since the event. `kinds`: what is marked on each; "" is the swim's own
    start, that nobody marked. `views`: in which it was, "" if in none that is there."""

    common: Common
    n: int
    at_s: tuple[float, float]
    kinds: tuple[str, str]
    views: tuple[str, str] = ("", "")

    @property
    def name(self) -> str:
        return self.common.value if self.n == 1 else f"{self.common.value}-{self.n}"


@dataclass(frozen=True)
class Missing:
    """An event that is marked on one of the swims at most; `on`: on which."""

    common: Common
    on: tuple[bool, bool]


@dataclass(frozen=True)
class Found:
    """`uneven`: events that are marked more often on one swim; the first of one need not be the
    first of the other, so somebody has to look."""

    marks: tuple[CommonMark, ...]
    missing: tuple[Missing, ...]
    uneven: tuple[Common, ...]


def events(common: Common, marks: Iterable[Placed]) -> list[dict[str, Placed]]:
    """Each event in order of time, as its marks by kind: one's own before those of others, else
    what was placed last.

    >>> turn = [Placed("hands-touch-wall", 14.1), Placed("feet-touch-wall", 14.9)]
    >>> [list(event) for event in events(Common.TURN, turn)]
    [['hands-touch-wall', 'feet-touch-wall']]
    >>> events(Common.BREAKOUT, [Placed("breakout", 6.3, order=2), Placed("breakout", 6.2)])
    [{'breakout': Placed(kind='breakout', at_s=6.3, order=2, mine=False, view='')}]
    """
    kinds = MARKED_BY[common]
    groups: list[list[Placed]] = []
    for mark in sorted((m for m in marks if m.kind in kinds), key=lambda m: m.at_s):
        if groups and (common is Common.START or mark.at_s - groups[-1][0].at_s < EVENT_APART_S):
            groups[-1].append(mark)
        else:
            groups.append([mark])
    return [{m.kind: m for m in sorted(group, key=lambda m: (m.mine, m.order))} for group in groups]


def common_marks(left: Sequence[Placed], right: Sequence[Placed]) -> Found:
    """What two swims can run in step from. The start comes first and is always there: a mark of
    the start signal, else the swim's own start at 0 s."""
    found, missing, uneven = [_start(left, right)], [], []
    for common in (Common.BREAKOUT, Common.TURN):
        ours, theirs = events(common, left), events(common, right)
        for n, both in enumerate(zip(ours, theirs, strict=False), start=1):
            found.append(_common(common, n, *_like_for_like(MARKED_BY[common], *both)))
        if not ours or not theirs:
            missing.append(Missing(common, (bool(ours), bool(theirs))))
        elif len(ours) != len(theirs):
            uneven.append(common)
    return Found(tuple(found), tuple(missing), tuple(uneven))


def _common(common: Common, n: int, one: Placed, other: Placed) -> CommonMark:
    return CommonMark(
        common,
        n,
        at_s=(one.at_s, other.at_s),
        kinds=(one.kind, other.kind),
        views=(one.view, other.view),
    )


def _start(left: Sequence[Placed], right: Sequence[Placed]) -> CommonMark:
    own = {"": Placed("", 0.0)}
    one, other = (
        next(iter((events(Common.START, side) or [own])[0].values())) for side in (left, right)
    )
    return _common(Common.START, 1, one, other)


def _like_for_like(
    kinds: Sequence[str], one: dict[str, Placed], other: dict[str, Placed]
) -> tuple[Placed, Placed]:
    """Hands beside hands or feet beside feet where both are marked, else what there is."""
    for kind in kinds:
        if kind in one and kind in other:
            return one[kind], other[kind]
    return next(one[k] for k in kinds if k in one), next(other[k] for k in kinds if k in other)
