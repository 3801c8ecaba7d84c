"""Where a demo swimmer is, and in which posture, at each second after the start signal.

One function of time serves every camera, so that all views of an instant agree by construction.
Positions are those of the hips: ``x_m`` along the course from the start wall, ``z_m`` above the
water (negative below). Times are swim seconds, counted from the emission of the start signal.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

COURSE_M = 25.0
TURN_X_M = 24.35
"""Hips at a turn at the far wall: the bent legs reach from here to the wall."""
FINISH_X_M = 0.85
"""Hips at a finish at the start wall: the stretched arms reach from here to the wall."""
READY_S = 2.6
"""From so long before the signal a swimmer stands on the block or hangs at the wall."""
CARD_S = (-6.4, -2.9)
"""The number card is held up in this span of swim seconds."""
GONE_S = 3.2
"""So long after the finish a swimmer has left the picture of the wall."""
FIRST_LENGTH_S, NEXT_LENGTH_S, LAST_LENGTH_S = 12.1, 14.05, 13.9
"""Usual seconds to the first turn, from turn to turn, and from the last turn to the finish."""


@dataclass(frozen=True)
class Posture:
    """What to draw: a named pose with its phase (turns, 0 to 1), lean and direction."""

    pose: str
    phase: float
    lean_deg: float
    towards_turn: bool
    x_m: float
    z_m: float


@dataclass(frozen=True)
class Turn:
    """One turn: the hips arrive, the feet touch the wall and leave it, the head is up again."""

    at_s: float
    feet_touch_s: float
    feet_leave_s: float
    breakout_s: float
    at_far_wall: bool


@dataclass(frozen=True)
class Go:
    """One go of some lengths in a 25 m pool: out, turn, back, and so on."""

    duration_s: float
    stroke: str
    from_water: bool
    lengths: int = 2
    shows_card: bool = True

    @cached_property
    def pace(self) -> float:
        """Stretch of the usual layout of a go to this one's duration."""
        usual_s = FIRST_LENGTH_S + NEXT_LENGTH_S * (self.lengths - 2) + LAST_LENGTH_S
        return self.duration_s / usual_s

    @cached_property
    def appears_s(self) -> float:
        """From here on the swimmer is in the hall's pictures."""
        return CARD_S[0] if self.shows_card else -READY_S

    @cached_property
    def leave_s(self) -> float:
        """Feet leave the block or the wall."""
        return 0.72 * self.pace

    @cached_property
    def entry_s(self) -> float:
        """The hips go through the surface after the dive."""
        return 1.25 * self.pace

    @cached_property
    def breakout_s(self) -> float:
        return 3.7 * self.pace

    @cached_property
    def turns(self) -> tuple[Turn, ...]:
        """The turns in order; the first is at the far wall."""
        usual_s = [FIRST_LENGTH_S + NEXT_LENGTH_S * n for n in range(self.lengths - 1)]
        return tuple(
            Turn(
                at_s * self.pace,
                (at_s + 0.55) * self.pace,
                (at_s + 0.85) * self.pace,
                (at_s + 3.8) * self.pace,
                at_far_wall=n % 2 == 0,
            )
            for n, at_s in enumerate(usual_s)
        )

    @property
    def ends_at_far_wall(self) -> bool:
        return self.lengths % 2 == 1

    @cached_property
    def _knots(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Times, places along the course and heights between which the hips move evenly."""
        begin_x, begin_z = (0.55, -0.12) if self.from_water else (-0.12, 1.42)
        top_z = 0.22 if self.from_water else 1.30
        middle_s = (self.leave_s + self.entry_s) / 2
        rows = [
            (0.0, begin_x, begin_z),
            (self.leave_s, begin_x + 0.15, begin_z + 0.02),
            (middle_s, 1.55, top_z),
            (self.entry_s, 3.0, -0.05),
            (self.entry_s + 0.35 * self.pace, 4.1, -0.70),
            (self.breakout_s - 0.5 * self.pace, 7.4, -0.60),
            (self.breakout_s, 8.3, -0.16),
        ]
        for turn in self.turns:
            rows += self._knots_of(turn)
        end_x = COURSE_M - FINISH_X_M if self.ends_at_far_wall else FINISH_X_M
        rows.append((self.duration_s, end_x, -0.16))
        times_s, places_m, heights_m = np.array(rows).T
        return times_s, places_m, heights_m

    def _knots_of(self, turn: Turn) -> list[tuple[float, float, float]]:
        rows = (
            (turn.at_s, TURN_X_M, -0.16),
            (turn.feet_touch_s, TURN_X_M + 0.02, -0.42),
            (turn.feet_leave_s, TURN_X_M - 0.35, -0.50),
            (turn.feet_leave_s + 0.6 * self.pace, 22.3, -0.66),
            (turn.breakout_s, 18.4, -0.16),
        )
        return [(at, x if turn.at_far_wall else COURSE_M - x, z) for at, x, z in rows]

    def place_at(self, swim_s: float) -> tuple[float, float]:
        """Hips (x_m, z_m); before the start and after the finish they rest at the ends."""
        times_s, places_m, heights_m = self._knots
        return (
            float(np.interp(swim_s, times_s, places_m)),
            float(np.interp(swim_s, times_s, heights_m)),
        )

    def turns_at(self, *, far: bool) -> list[float]:
        """Swim seconds at which the feet touch that wall in a turn."""
        return [turn.feet_touch_s for turn in self.turns if turn.at_far_wall == far]

    def passes_s(self, x_m: float) -> list[float]:
        """Swim seconds at which the hips go by ``x_m``, once in each length that reaches it.

        At the far wall, beyond the hips' furthest reach, it is the touch of the feet.
        """
        if x_m >= TURN_X_M:
            return self.turns_at(far=True)
        times_s, places_m, _ = self._knots
        bounds_s = [0.0, *(turn.feet_touch_s for turn in self.turns), self.duration_s]
        passes_s = []
        for length, (from_s, to_s) in enumerate(zip(bounds_s, bounds_s[1:], strict=False)):
            part = (times_s >= from_s) & (times_s <= to_s)
            sense = 1 if length % 2 == 0 else -1
            places = sense * places_m[part]
            if places[0] <= sense * x_m <= places[-1]:
                passes_s.append(float(np.interp(sense * x_m, places, times_s[part])))
        return passes_s

    def is_swimming(self, swim_s: float) -> bool:
        """At the surface, stroking."""
        begins_s = [self.breakout_s, *(turn.breakout_s for turn in self.turns)]
        ends_s = [*(turn.at_s for turn in self.turns), self.duration_s]
        return any(a < swim_s < b for a, b in zip(begins_s, ends_s, strict=True))

    def is_gliding(self, swim_s: float) -> bool:
        """Under water, after the dive or a turn."""
        return self.entry_s < swim_s < self.breakout_s or any(
            turn.feet_leave_s < swim_s < turn.breakout_s for turn in self.turns
        )

    def posture_at(self, swim_s: float) -> Posture | None:
        """The posture to draw, or None while the swimmer is nowhere in the hall's pictures."""
        if not self.appears_s <= swim_s <= self.duration_s + GONE_S:
            return None
        if swim_s < -READY_S:
            return Posture("stand", 0.0, 0.0, True, -1.15, 1.18)
        x_m, z_m = self.place_at(swim_s)
        pose, phase, lean_deg, towards_turn = self._pose_at(swim_s)
        if swim_s > self.duration_s + 0.8:
            return self._climbing_out(swim_s)
        return Posture(pose, phase, lean_deg, towards_turn, x_m, z_m)

    def _climbing_out(self, swim_s: float) -> Posture:
        """Up over the edge, then away along the deck."""
        since_s = swim_s - self.duration_s - 0.8
        x_m = float(np.interp(since_s, (0.0, 0.9, 2.4), (0.45, -0.9, -2.9)))
        z_m = float(np.interp(since_s, (0.0, 0.9, 2.4), (0.0, 1.18, 1.18)))
        if self.ends_at_far_wall:
            x_m = COURSE_M - x_m
        return Posture("walk", since_s * 1.2 % 1.0, 0.0, self.ends_at_far_wall, x_m, z_m)

    def _pose_at(self, swim_s: float) -> tuple[str, float, float, bool]:
        if swim_s < self.leave_s:
            return ("hang", 0.0, 35.0, True) if self.from_water else ("crouch", 0.0, 0.0, True)
        if swim_s < self.entry_s + 0.35 * self.pace:
            return "glide", 0.0, self._flight_lean_deg(swim_s), True
        if swim_s < self.breakout_s:
            return "glide", swim_s * 2.2 % 1.0, 0.0, True
        outwards = True
        for turn in self.turns:
            if swim_s < turn.at_s:
                return self.stroke, self._cycle(swim_s), 0.0, outwards
            if swim_s < turn.feet_leave_s:
                return self._turn_pose(turn, swim_s)
            outwards = not turn.at_far_wall
            if swim_s < turn.breakout_s:
                return "glide", swim_s * 2.2 % 1.0, 0.0, outwards
        if swim_s < self.duration_s:
            return self.stroke, self._cycle(swim_s), 0.0, outwards
        return "reach", 0.0, 0.0, outwards

    def _cycle(self, swim_s: float) -> float:
        """Phase of the stroke cycle: about 0.9 cycles a second at a usual go."""
        return swim_s / self.pace * 0.9 % 1.0

    def _flight_lean_deg(self, swim_s: float) -> float:
        end_s = self.entry_s + 0.35 * self.pace
        top_deg = 20.0 if self.from_water else 12.0
        knots_s = (self.leave_s, self.leave_s + 0.2 * self.pace, self.entry_s, end_s)
        return float(np.interp(swim_s, knots_s, (top_deg + 10, top_deg - 8, -34.0, -4.0)))

    def _turn_pose(self, turn: Turn, swim_s: float) -> tuple[str, float, float, bool]:
        """A tumble over the head, or for breaststroke both hands to the wall and about."""
        arriving = turn.at_far_wall
        part = (swim_s - turn.at_s) / (turn.feet_touch_s - turn.at_s)
        if part >= 1.0:
            return "push", 0.0, 0.0, not arriving
        if self.stroke == "breaststroke":
            return "curl", 0.0, 0.0, arriving if part < 0.5 else not arriving
        return "curl", 0.0, -180.0 * part, arriving
