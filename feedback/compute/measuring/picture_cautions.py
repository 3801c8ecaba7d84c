"""What a plane in the picture does not hold for, with its size."""

from __future__ import annotations

import math

N_WATER = 1.333


def out_of_plane_share(nearer_m: float, distance_m: float) -> float:
    """By what share lengths read too long for a body that is `nearer_m` nearer to the camera
    than the plane, which is `distance_m` away; negative: too short (it is further off).

    Similar triangles: D / (D - d) - 1. ValueError unless the body is before the camera.

    >>> round(out_of_plane_share(0.25, 10.0), 4), round(out_of_plane_share(-1.25, 10.0), 4)
    (0.0256, -0.1111)
    """
    if not distance_m > 0 or not nearer_m < distance_m:
        raise ValueError("the body must be before the camera")
    return distance_m / (distance_m - nearer_m) - 1


def port_scale(angle_in_water_deg: float, *, n: float = N_WATER) -> float:
    """How much larger than in air a point so far from the axis appears through a flat port:
    tan(air) / tan(water), by Snell's law. It is no one scale, so measure near the axis.

    >>> round(port_scale(5.0), 3), round(port_scale(20.0), 3)
    (1.337, 1.407)
    """
    water = math.radians(angle_in_water_deg)
    bent = n * math.sin(water)
    if not 0 < angle_in_water_deg < 90 or bent >= 1:
        raise ValueError("no ray leaves the water at this angle")
    return math.tan(math.asin(bent)) / math.tan(water)
