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
"""Hips at the turn: the bent legs reach from here to the wall."""
FINISH_X_M = 0.85
"""Hips at the finish: the stretched arms reach from here to the wall."""
READY_S = 2.6
"""From so long before the signal a swimmer stands on the block or hangs at the wall."""
CARD_S = (-6.4, -2.9)
"""The number card is held up in this span of swim seconds."""
GONE_S = 3.2
"""So long after the finish a swimmer has left the picture of the start wall."""
USUAL_DURATION_S = 26.0
"""The knots below are laid out for a go of this length and stretched for others."""


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
class Go:
    """One go of 50 m in a 25 m pool: out, turn, back."""

    duration_s: float
    stroke: str
    from_water: bool

    @cached_property
    def pace(self) -> float:
        """Stretch of the usual layout of a go to this one's duration."""
        return self.duration_s / USUAL_DURATION_S

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
    def turn_s(self) -> float:
        """The hips arrive at the turn; the feet are on the wall from ``feet_touch_s``."""
        return 12.1 * self.pace

    @cached_property
    def feet_touch_s(self) -> float:
        return self.turn_s + 0.55 * self.pace

    @cached_property
    def feet_leave_s(self) -> float:
        return self.turn_s + 0.85 * self.pace

    @cached_property
    def second_breakout_s(self) -> float:
        return 15.9 * self.pace

    @cached_property
    def _knots(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Times, places along the course and heights between which the hips move evenly."""
        begin_x, begin_z = (0.55, -0.12) if self.from_water else (-0.12, 1.42)
        top_z = 0.22 if self.from_water else 1.30
        middle_s = (self.leave_s + self.entry_s) / 2
        rows = (
            (0.0, begin_x, begin_z),
            (self.leave_s, begin_x + 0.15, begin_z + 0.02),
            (middle_s, 1.55, top_z),
            (self.entry_s, 3.0, -0.05),
            (self.entry_s + 0.35 * self.pace, 4.1, -0.70),
            (self.breakout_s - 0.5 * self.pace, 7.4, -0.60),
            (self.breakout_s, 8.3, -0.16),
            (self.turn_s, TURN_X_M, -0.16),
            (self.feet_touch_s, TURN_X_M + 0.02, -0.42),
            (self.feet_leave_s, TURN_X_M - 0.35, -0.50),
            (self.feet_leave_s + 0.6 * self.pace, 22.3, -0.66),
            (self.second_breakout_s, 18.4, -0.16),
            (self.duration_s, FINISH_X_M, -0.16),
        )
        times_s, places_m, heights_m = np.array(rows).T
        return times_s, places_m, heights_m

    def place_at(self, swim_s: float) -> tuple[float, float]:
        """Hips (x_m, z_m); before the start and after the finish they rest at the ends."""
        times_s, places_m, heights_m = self._knots
        return (
            float(np.interp(swim_s, times_s, places_m)),
            float(np.interp(swim_s, times_s, heights_m)),
        )

    def passes_s(self, x_m: float) -> list[float]:
        """Swim seconds at which the hips go by ``x_m``; at the turn wall the feet's touch.

        A place beyond the hips' furthest reach is passed once, by the turn.
        """
        if x_m >= TURN_X_M:
            return [self.feet_touch_s]
        times_s, places_m, _ = self._knots
        out = times_s <= self.feet_touch_s
        back = times_s >= self.feet_touch_s
        first = float(np.interp(x_m, places_m[out], times_s[out]))
        second = float(np.interp(-x_m, -places_m[back], times_s[back]))
        return [first, second] if x_m >= FINISH_X_M else [first]

    def posture_at(self, swim_s: float) -> Posture | None:
        """The posture to draw, or None while the swimmer is nowhere in the hall's pictures."""
        if not CARD_S[0] <= swim_s <= self.duration_s + GONE_S:
            return None
        if swim_s < -READY_S:
            return Posture("stand", 0.0, 0.0, True, -1.15, 1.18)
        x_m, z_m = self.place_at(swim_s)
        pose, phase, lean_deg, towards_turn = self._pose_at(swim_s)
        if swim_s > self.duration_s + 0.8:
            return self._climbing_out(swim_s)
        return Posture(pose, phase, lean_deg, towards_turn, x_m, z_m)

    def _climbing_out(self, swim_s: float) -> Posture:
        """Up over the edge, then away along the deck to the left."""
        since_s = swim_s - self.duration_s - 0.8
        x_m = float(np.interp(since_s, (0.0, 0.9, 2.4), (0.45, -0.9, -2.9)))
        z_m = float(np.interp(since_s, (0.0, 0.9, 2.4), (0.0, 1.18, 1.18)))
        return Posture("walk", since_s * 1.2 % 1.0, 0.0, False, x_m, z_m)

    def _pose_at(self, swim_s: float) -> tuple[str, float, float, bool]:
        if swim_s < self.leave_s:
            return ("hang", 0.0, 35.0, True) if self.from_water else ("crouch", 0.0, 0.0, True)
        if swim_s < self.entry_s + 0.35 * self.pace:
            return "glide", 0.0, self._flight_lean_deg(swim_s), True
        if swim_s < self.breakout_s:
            return "glide", swim_s * 2.2 % 1.0, 0.0, True
        if swim_s < self.turn_s:
            return self.stroke, self._cycle(swim_s), 0.0, True
        if swim_s < self.feet_leave_s:
            return self._turn_pose(swim_s)
        if swim_s < self.second_breakout_s:
            return "glide", swim_s * 2.2 % 1.0, 0.0, False
        if swim_s < self.duration_s:
            return self.stroke, self._cycle(swim_s), 0.0, False
        return "reach", 0.0, 0.0, False

    def _cycle(self, swim_s: float) -> float:
        """Phase of the stroke cycle: about 0.9 cycles a second at a usual go."""
        return swim_s / self.pace * 0.9 % 1.0

    def _flight_lean_deg(self, swim_s: float) -> float:
        end_s = self.entry_s + 0.35 * self.pace
        top_deg = 20.0 if self.from_water else 12.0
        knots_s = (self.leave_s, self.leave_s + 0.2 * self.pace, self.entry_s, end_s)
        return float(np.interp(swim_s, knots_s, (top_deg + 10, top_deg - 8, -34.0, -4.0)))

    def _turn_pose(self, swim_s: float) -> tuple[str, float, float, bool]:
        """A tumble over the head, or for breaststroke both hands to the wall and about."""
        part = (swim_s - self.turn_s) / (self.feet_touch_s - self.turn_s)
        if part >= 1.0:
            return "push", 0.0, 0.0, False
        if self.stroke == "breaststroke":
            return "curl", 0.0, 0.0, part < 0.5
        return "curl", 0.0, -180.0 * part, True
