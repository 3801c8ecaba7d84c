"""Events that were placed twice: by several people, or by one again.

How far such marks lie apart says how well an event can be placed at all, beyond the frame; that
goes into every ± that rests on it. Two marks tell it poorly (one degree of freedom), so what the
swim's other events show counts too, and where nothing else was repeated, half a frame.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import combinations

from feedback.compute.measuring.events import Event, Seen, is_anywhere
from feedback.compute.measuring.uncertain import Z_95

SAME_S = 0.5  # marks of one event by several people are nearer to each other than that


def spread_of(marks: Iterable[Seen]) -> dict[Event, float]:
    """Standard deviation with which each event was placed, in seconds, where at least one was
    placed twice or more in one view (by several people, or by one again).

    Pooled over all such groups: sqrt(sum of squared deviations / degrees of freedom), the usual
    pooled estimate (GUM H.3.6 names the same). A group is marks of one event in one view that
    lie within `SAME_S` of each other, at most one of them for each time that a person placed it.

    >>> from feedback.compute.measuring.events import View
    >>> view = View("deck", None)
    >>> two = [Seen(k, Event.BREAKOUT, view, t, 0.02, k) for k, t in (("a", 6.10), ("b", 6.14))]
    >>> round(spread_of(two)[Event.BREAKOUT], 4)
    0.0283
    """
    return {event: (its.squares / its.freedom) ** 0.5 for event, its in _repeats(marks).items()}


OTHERS_COUNT = 4.0  # degrees of freedom that other events, or half a frame, count for at most
"""Judgement: enough that two marks that happen to agree do not pass for sure, and few enough that
an event placed often tells for itself."""


def placing_u(marks: Iterable[Seen]) -> dict[Event, float]:
    """Standard uncertainty of placing, in seconds, of each event that was placed twice or more.

    Three estimates pooled by their degrees of freedom (GUM H.3.6): this event's own; that of the
    others, for `OTHERS_COUNT` at most; and where these are fewer, half a frame interval for the
    rest (GUM 4.3, a judgement from before). A deviation from so few repeats is widened by
    Student's t (GUM G.3.2), so that 1.96 of it are t times the pooled one. It is never less than
    what this event itself shows; where all agree on every frame, nothing is added.

    >>> from feedback.compute.measuring.events import View
    >>> view = View("deck", None)
    >>> two = [Seen(k, Event.BREAKOUT, view, t, 0.04, k) for k, t in (("a", 6.10), ("b", 6.14))]
    >>> round(placing_u(two)[Event.BREAKOUT], 4)
    0.0287
    """
    found = _repeats(marks)
    return {event: _u(its, found) for event, its in found.items()}


def _u(own: Repeats, found: Mapping[Event, Repeats]) -> float:
    others = [one for one in found.values() if one is not own]
    freedom = sum(one.freedom for one in others)
    counts = min(OTHERS_COUNT, freedom)
    squares = own.squares
    if freedom:
        squares += counts * sum(_seen_by(own, one) for one in others) / freedom
    if not squares:
        return 0.0
    squares += (OTHERS_COUNT - counts) * (own.interval_s / 2) ** 2
    known = own.freedom + OTHERS_COUNT
    pooled = t_95(known) / Z_95 * (squares / known) ** 0.5
    return max(pooled, (own.squares / own.freedom) ** 0.5)


def _seen_by(own: Repeats, other: Repeats) -> float:
    """Another event's squares as they count here: people are off by so many seconds or by so many
    frames, whichever is more where frames follow more slowly."""
    return other.squares * max(1.0, own.interval_s / other.interval_s) ** 2


def t_95(freedom: float) -> float:
    """Student's t for 95 of 100 cases, both sides, by its expansion in 1 / `freedom` (Abramowitz
    and Stegun 26.7.5): within 0.3 % from 4 degrees on.

    >>> round(t_95(5), 2)  # GUM, table G.2: 2.57
    2.57
    """
    z, f = Z_95, freedom
    terms = (
        (z**3 + z) / (4 * f),
        (5 * z**5 + 16 * z**3 + 3 * z) / (96 * f**2),
        (3 * z**7 + 19 * z**5 + 17 * z**3 - 15 * z) / (384 * f**3),
    )
    return z + sum(terms)


@dataclass
class Repeats:
    """`squares`: of deviations from the mean of their group, s²; `freedom`: degrees of freedom;
    `interval_s`: the widest frame interval among the marks."""

    squares: float = 0.0
    freedom: int = 0
    interval_s: float = 0.0


def _repeats(marks: Iterable[Seen]) -> dict[Event, Repeats]:
    found: dict[Event, Repeats] = {}
    for group in groups_of(marks):
        if len(group) > 1:
            mean = sum(one.frame_s for one in group) / len(group)
            its = found.setdefault(group[0].event, Repeats())
            its.squares += sum((one.frame_s - mean) ** 2 for one in group)
            its.freedom += len(group) - 1
            its.interval_s = max(its.interval_s, *(one.interval_s for one in group))
    return found


def groups_of(marks: Iterable[Seen]) -> list[list[Seen]]:
    """Marks of the same event in the same view that are about the same happening, in order of
    time; hand entries follow each other faster than `SAME_S`, and count as the same only if
    several people placed them."""
    ordered = sorted(marks, key=lambda one: (one.event, one.view.key, one.frame_s, one.key))
    groups: list[list[Seen]] = []
    for one in ordered:
        if groups and _same(groups[-1], one):
            groups[-1].append(one)
        else:
            groups.append([one])
    return groups


def _same(group: list[Seen], one: Seen) -> bool:
    first = group[0]
    if (first.event, first.view.key, first.distance_m) != (one.event, one.view.key, one.distance_m):
        return False
    if is_anywhere(one):
        return False
    apart_s = SAME_S / 2 if one.event is Event.HAND_ENTRY else SAME_S
    if one.frame_s - first.frame_s > apart_s:
        return False
    return one.event is not Event.HAND_ENTRY or all(other.by != one.by for other in group)


def differences(marks: Iterable[Seen]) -> list[tuple[Seen, Seen, float]]:
    """Each two marks of the same happening, and by how much the second is later, in seconds."""
    return [
        (one, other, other.frame_s - one.frame_s)
        for group in groups_of(marks)
        for one, other in combinations(group, 2)
    ]
