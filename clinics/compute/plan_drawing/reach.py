"""How far a station's cone is drawn: a camera sees to the other end of the hall, but a plan on
which every cone does that shows nothing."""

from __future__ import annotations

import math

from clinics.compute.sight import NEAR_M, Pool, Stand, sight_of

LEAST_M, MOST_M = 4.0, 15.0
ALONG_M = 7.5  # of a camera that looks along the lane, or away from it


def reach_m(stand: Stand, pool: Pool) -> float:
    """Along its axis to the swum lane's far edge, as the camera sees it.

    >>> pool = Pool(course_m=50.0, lanes=6)
    >>> reach_m(Stand("d", "deck", 25.0, -2.0, 1.6), pool)
    4.5
    >>> reach_m(Stand("t", "turn-window", 50.0, 1.25, -0.5), pool)
    7.5
    """
    rise = math.sin(math.radians(sight_of(stand, pool).bearing_deg))
    edge_m = 0.0 if stand.y_m > pool.swum_y_m else pool.lane_m
    across_m = edge_m - stand.y_m
    if across_m * rise <= NEAR_M:
        return ALONG_M
    return min(max(across_m / rise, LEAST_M), MOST_M)
