"""Times of marks, each worked out once, and what lies between two of them."""

from __future__ import annotations

from collections.abc import Mapping

from feedback.compute.measuring.events import Event, Seen, Zero, place_of, time_of
from feedback.compute.measuring.uncertain import Quantity, Shape, Source

UNKNOWN_M_PER_S = 1.0  # where no speed can be told: slow, so that the ± is rather too wide


class Times:
    """`spreads`: how unsurely people place an event, in seconds (placed_twice.placing_u).
    `speeds`: of heads where they are at a distance, metres per second by their keys
    (head_speeds.py)."""

    def __init__(self, zero: Zero, spreads: Mapping[Event, float]) -> None:
        self.zero, self.spreads = zero, spreads
        self.speeds: Mapping[str, float] = {}
        self._known: dict[str, Quantity] = {}

    def at(self, seen: Seen) -> Quantity:
        """On the axis of the marks, against other views only as good as the view's clock."""
        if seen.key not in self._known:
            spread_s = self.spreads.get(seen.event, 0.0)
            self._known[seen.key] = time_of(seen, spread_s=spread_s)
        return self._known[seen.key]

    def at_its_distance(self, seen: Seen) -> Quantity:
        """When the head is at the distance that the mark says: as unsure as that place is, too,
        divided by the speed there. If the head was further on than said, it was there earlier."""
        place = place_of(seen)
        if seen.event is not Event.HEAD_AT_DISTANCE or place is None or not place.parts:
            return self.at(seen)
        off_m = place.plus(-place.value)
        return self.at(seen) - off_m.times(1 / self.speeds.get(seen.key, UNKNOWN_M_PER_S))

    def since_start(self, seen: Seen | None) -> Quantity | None:
        """None: not marked, the view's clock is not known, or before the start, where only a
        first movement can be."""
        if seen is None or seen.view.clock_u_s is None:
            return None
        span = self.at_its_distance(seen) - self.zero.time
        return span if span.value > 0 or seen.event is Event.FIRST_MOVEMENT else None

    def between(self, one: Seen | None, after: Seen | None) -> Quantity | None:
        """From frame to frame, wherever heads are on them. None: one is not marked, they are the
        wrong way round, or two clocks are not known."""
        if one is None or after is None or not _comparable(one, after):
            return None
        span = self.at(after) - self.at(one)
        return span if span.value > 0 else None

    def between_distances(self, one: Seen | None, after: Seen | None) -> Quantity | None:
        """As `between`, but of heads from or to the distance that their marks say."""
        if one is None or after is None or not _comparable(one, after):
            return None
        span = self.at_its_distance(after) - self.at_its_distance(one)
        return span if span.value > 0 else None


def _comparable(one: Seen, other: Seen) -> bool:
    clocks = (one.view.clock_u_s, other.view.clock_u_s)
    return one.view.key == other.view.key or None not in clocks


def apart_m(one: Seen, after: Seen) -> Quantity | None:
    """Metres from one mark's distance to the other's; None: not said, or none."""
    from_m, to_m = place_of(one), place_of(after)
    if from_m is None or to_m is None or to_m.value <= from_m.value:
        return None
    return to_m - from_m


def metres(value: float, u_m: float, key: str) -> Quantity:
    """A distance that was measured: `u_m` its standard uncertainty, 0 for one by definition."""
    return Quantity(value, {Source(key, Shape.BELL, u_m): 1.0} if u_m else {})
