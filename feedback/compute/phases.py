"""The phases of a swim, as far as marks tell where they begin and end."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

# What lies between two marks that follow each other. Between others nothing is known.
BETWEEN = {
    ("start-signal", "feet-leave-block"): "start",
    ("feet-leave-block", "first-entry"): "flight",
    ("first-entry", "full-entry"): "entry",
    ("first-entry", "breakout"): "underwater",
    ("full-entry", "breakout"): "underwater",
    ("breakout", "hands-touch-wall"): "swimming",
    ("breakout", "feet-touch-wall"): "swimming",
    ("hands-touch-wall", "feet-leave-wall"): "turn",
    ("feet-touch-wall", "feet-leave-wall"): "turn",
    ("feet-leave-wall", "breakout"): "underwater",
}
# Marks that no phase begins or ends with, and a second touch of the same wall.
WITHIN = {"first-movement", "hand-entry", "head-at-distance"}
TOUCHES = {"hands-touch-wall", "feet-touch-wall"}
TWICE_S = 0.25  # the same event, marked by two people or in two views


@dataclass(frozen=True)
class PhaseSpan:
    """`from_s` < `to_s`, both swim_s."""

    phase: str
    from_s: float
    to_s: float


def phases_between(marks: Iterable[tuple[str, float]]) -> tuple[PhaseSpan, ...]:
    """Phases from marks (kind, swim_s), in order of time. Of an event that is marked twice the
    first counts; what two marks in a row do not tell stays open.

    >>> told = phases_between([("breakout", 6.1), ("first-entry", 0.9), ("hand-entry", 8.0)])
    >>> [(span.phase, span.from_s, span.to_s) for span in told]
    [('underwater', 0.9, 6.1)]
    """
    ends: list[tuple[str, float]] = []
    for kind, at_s in sorted(marks, key=lambda mark: mark[1]):
        if kind in WITHIN or _again(ends, kind, at_s):
            continue
        ends.append((kind, at_s))
    told = []
    for (kind, from_s), (next_kind, to_s) in zip(ends, ends[1:], strict=False):
        phase = BETWEEN.get((kind, next_kind))
        if phase and from_s < to_s:
            told.append(PhaseSpan(phase, from_s, to_s))
    return tuple(told)


def _again(ends: list[tuple[str, float]], kind: str, at_s: float) -> bool:
    """The same event a second time, or the feet after the hands at the same wall."""
    if not ends:
        return False
    before, before_s = ends[-1]
    if kind in TOUCHES and before in TOUCHES:
        return True
    return kind == before and at_s - before_s < TWICE_S
