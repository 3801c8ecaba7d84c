"""What a coach can see of a demo swimmer, from how the figure is painted: when the head passes a
distance, when hands go in, when the body is under water. Times are swim seconds."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from functools import lru_cache

import numpy as np

from clinics.management.demo.figure import Joints, joints_of
from clinics.management.demo.motion import COURSE_M, Go

CYCLES_PER_S = 0.9  # of a go at a usual pace (clinics.management.demo.motion)
STEP_S = 0.002
FORWARD_M = 0.5  # a hand that goes through the surface so far before the hips goes in
SURFACE_M = -0.16  # hips below the surface while swimming


def head_at(go: Go, swim_s: float) -> float:
    """Metres swum by the head's middle: after a turn the way back counts on."""
    posture = go.posture_at(swim_s)
    if posture is None:
        raise ValueError(f"nobody is in the hall at {swim_s} s")
    head_x, _head_z = joints_of(posture.pose, posture.phase).head
    lean = math.radians(posture.lean_deg)
    ahead_m = head_x * math.cos(lean) - _head_z * math.sin(lean)
    x_m = posture.x_m + (ahead_m if posture.towards_turn else -ahead_m)
    number = length_at(go, swim_s)
    return (number - 1) * COURSE_M + x_m if number % 2 else number * COURSE_M - x_m


def length_at(go: Go, swim_s: float) -> int:
    return 1 + sum(swim_s >= turn.feet_leave_s for turn in go.turns)


def length_s(go: Go, number: int) -> tuple[float, float, float]:
    """When length `number` begins, when the head comes up in it, and when the hips arrive."""
    turn = go.turns[number - 2] if number > 1 else None
    begins_s = turn.feet_leave_s if turn else go.entry_s
    out_s = turn.breakout_s if turn else go.breakout_s
    ends_s = go.turns[number - 1].at_s if number <= len(go.turns) else go.duration_s
    return begins_s, out_s, ends_s


def head_reaches_s(go: Go, at_m: float) -> float | None:
    """The head passes this distance while somebody swims at the surface; None: it does not."""
    number = int(at_m // COURSE_M) + 1
    _begins_s, out_s, ends_s = length_s(go, number)
    if not head_at(go, out_s) < at_m < head_at(go, ends_s - STEP_S):
        return None
    before_s, after_s = out_s, ends_s - STEP_S
    while after_s - before_s > STEP_S / 10:  # at the surface the head only moves on
        middle_s = (before_s + after_s) / 2
        if head_at(go, middle_s) < at_m:
            before_s = middle_s
        else:
            after_s = middle_s
    return after_s


def hands_in_s(go: Go, number: int) -> list[float]:
    """Each hand entry of a length, both hands; in breaststroke and butterfly each body cycle."""
    _begins_s, out_s, ends_s = length_s(go, number)
    cycle_s = go.pace / CYCLES_PER_S
    first, last = int(out_s / cycle_s) - 1, int(ends_s / cycle_s) + 1
    times_s = sorted(
        (cycle + phase) * cycle_s
        for cycle in range(first, last + 1)
        for phase in entry_phases(go.stroke)
    )
    return [at_s for at_s in times_s if out_s < at_s < ends_s]


@lru_cache
def entry_phases(stroke: str) -> tuple[float, ...]:
    """Parts of the painted cycle at which a hand goes through the surface before the head, or is
    furthest forward where none is lifted out; arms that move as one count once."""
    phases = np.linspace(0.0, 1.0, 400, endpoint=False)
    poses = [joints_of(stroke, float(phase)) for phase in phases]
    arms: tuple[Callable[[Joints], tuple[float, float]], ...] = (
        lambda joints: joints.near_arm[1],
        lambda joints: joints.far_arm[1],
    )
    found = {_enters(phases, np.array([arm(one) for one in poses])) for arm in arms}
    return tuple(sorted(found))


def _enters(phases: np.ndarray, hand: np.ndarray) -> float:
    above = hand[:, 1] + SURFACE_M > 0
    goes_in = above & ~np.roll(above, -1) & (hand[:, 0] > FORWARD_M)
    at = int(np.argmax(goes_in)) if goes_in.any() else int(np.argmax(hand[:, 0]))
    return round(float(phases[at]), 4)


def dive_s(go: Go) -> tuple[float, float]:
    """When the first of the painted body goes into the water, and when the last has."""
    first: float | None = None
    for at_s in np.arange(go.leave_s, go.entry_s + go.pace, STEP_S):
        heights_m = list(_heights_m(go, float(at_s)))
        if first is None and min(heights_m) < 0:
            first = float(at_s)
        if first is not None and max(heights_m) < 0:
            return first, float(at_s)
    raise ValueError("this swimmer never gets into the water")


def _heights_m(go: Go, swim_s: float) -> Iterator[float]:
    """Of the hands, the head, the hips and the toes above the water."""
    posture = go.posture_at(swim_s)
    if posture is None:
        return
    joints, lean = joints_of(posture.pose, posture.phase), math.radians(posture.lean_deg)
    points = (joints.near_arm[-1], joints.far_arm[-1], joints.head, (0.0, 0.0))
    for x, y in (*points, joints.near_leg[-1], joints.far_leg[-1]):
        yield posture.z_m + x * math.sin(lean) + y * math.cos(lean)
