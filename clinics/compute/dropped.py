"""How long somebody who did not agree to be filmed is in the picture of any camera.

Nobody else swims the circuit between their start and the next one, so leaving out all of that
costs nobody a picture. Only if the next start comes before they can be back is the pace used.
"""

from __future__ import annotations

from clinics.compute.geometry import speed_m_per_s

BEFORE_S = 10.0  # on the block, and the number card shown to the camera
LANE_FREE_S = 3.0  # before the next start the lane is free, and its clip begins
SLOWEST = 3.0  # nobody takes longer than so many times the expected pace
CLIMB_OUT_S = 60.0  # and so long to leave the water and the picture
SHARE, LEAST_CLIMB_OUT_S = 1.15, 15.0  # if the next start comes too early to say so
UNSURE_TIMES = 3.0  # standard uncertainties of the clock that are added on both sides


def gone_after_s(*, distance_m: float, pace_s_per_100m: float, next_start_s: float | None) -> float:
    """Seconds after their start when they have left the picture, in the worst case.

    >>> gone_after_s(distance_m=75, pace_s_per_100m=100, next_start_s=95.0)  # lane free then
    92.0
    >>> gone_after_s(distance_m=75, pace_s_per_100m=100, next_start_s=None)
    285.0
    >>> round(gone_after_s(distance_m=75, pace_s_per_100m=100, next_start_s=40.0), 2)
    101.25
    """
    back_s = distance_m / speed_m_per_s(pace_s_per_100m)
    worst_s = back_s * SLOWEST + CLIMB_OUT_S
    if next_start_s is None:
        return worst_s
    if next_start_s < back_s:  # somebody was sent before they were back: both are in picture
        return back_s * SHARE + LEAST_CLIMB_OUT_S
    return max(min(next_start_s - LANE_FREE_S, worst_s), back_s)
