"""Times of marks, each worked out once, and what lies between two of them."""

from __future__ import annotations

from collections.abc import Mapping

from feedback.compute.measuring.events import Event, Seen, Zero, place_of, time_of
from feedback.compute.measuring.uncertain import Quantity, Shape, Source


class Times:
    """`spreads`: how far apart people place an event, in seconds (events.spread_of)."""

    def __init__(self, zero: Zero, spreads: Mapping[Event, float]) -> None:
        self.zero, self.spreads = zero, spreads
        self._known: dict[str, Quantity] = {}

    def at(self, seen: Seen) -> Quantity:
        """On the axis of the marks, against other views only as good as the view's clock."""
        if seen.key not in self._known:
            spread_s = self.spreads.get(seen.event, 0.0)
            self._known[seen.key] = time_of(seen, spread_s=spread_s)
        return self._known[seen.key]

    def since_start(self, seen: Seen | None) -> Quantity | None:
        """None: not marked, or the view's clock is not known."""
        if seen is None or seen.view.clock_u_s is None:
            return None
        return self.at(seen) - self.zero.time

    def between(self, one: Seen | None, after: Seen | None) -> Quantity | None:
        """None: one is not marked, they are the wrong way round, or two clocks are not known."""
        if one is None or after is None:
            return None
        if one.view.key != after.view.key and None in (one.view.clock_u_s, after.view.clock_u_s):
            return None
        span = self.at(after) - self.at(one)
        return span if span.value > 0 else None


def apart_m(one: Seen, after: Seen) -> Quantity | None:
    """Metres from one mark's distance to the other's; None: not said, or none."""
    from_m, to_m = place_of(one), place_of(after)
    if from_m is None or to_m is None or to_m.value <= from_m.value:
        return None
    return to_m - from_m


def metres(value: float, u_m: float, key: str) -> Quantity:
    """A distance that was measured: `u_m` its standard uncertainty, 0 for one by definition."""
    return Quantity(value, {Source(key, Shape.BELL, u_m): 1.0} if u_m else {})
