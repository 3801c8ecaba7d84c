"""How wide a camera sees: its angle of view, what water makes of it, metres at a distance; and
where the camera of a station looks.

Angles of view are horizontal, across the whole picture, in degrees. A lens is taken to be
rectilinear (straight lines stay straight); a fisheye sees more than these formulas say.

In air, tan(angle / 2) = sensor width / (2 * focal length): the pinhole camera. Behind a flat
port each ray is bent at the water by Snell's law, sin(air) = n * sin(water), so the angle
narrows; a thin sheet of glass between shifts a ray and does not turn it. A dome port whose
centre is the lens's entrance pupil is met by every ray at a right angle: nothing narrows.

Water's n against air at 5893 Å is 1.3337 at 10 °C, 1.3330 at 20 °C and 1.3319 at 30 °C
(scubageek.com/articles/wwwh2o.html, table 1). A pool has 25 to 28 °C: 1.333 is within 0.001.

The plan is in metres: x along the course from the start wall, y across from the edge of the
swum lane's side (positive: over the water), z above the water. A bearing is an angle on the
plan: 0° from the start wall along the course, 90° across into the pool.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from clinics.compute.checks import Errors, raise_if_any, within
from clinics.compute.errors import BadInput
from clinics.compute.errors import say as _
from clinics.compute.geometry import START_SIDE, TURN_WINDOW

N_POOL_WATER = 1.333
SMALL_SENSOR_MM, FULL_FRAME_MM = 3.0, 36.0  # 36: what “35 mm equivalent” focal lengths go with
LEAST_ANGLE_DEG, MOST_ANGLE_DEG = 2.0, 160.0  # what a person may type; else a slip of the pen
USUAL_ANGLE_DEG = 60.0  # a consumer camera at its wide end: common practice, no source

LANE_M = 2.5  # FINA FR 3.7; a pool's own lanes may be narrower
DECK_M = 5.0  # how much of the deck around the water belongs to the plan
NEAR_M = 1e-9
# In frame at a start: from a block 0.5 m long (Biel 2010, coachsci.sdsu.edu) to where the hands
# enter, 2.9 to 3.0 m from it (collegiate swimmers, digitalcommons.wku.edu/ijesab/vol8/iss3/7).
START_FROM_M, START_TO_M = -0.5, 3.0
TURN_LOOK_M = 5.0  # a camera at a wall looks at the lane's middle so far in: turns begin there
WALL_ROOM_M = 1.0  # “at” a wall: our choice


class Port(StrEnum):
    """What stands between lens and water."""

    AIR = "air"  # no water: the camera sees through air alone
    FLAT = "flat"  # a flat port, or a window in the pool's wall
    DOME = "dome"


def _above_zero(name: str, value: float) -> None:
    if not (math.isfinite(value) and value > 0):
        raise ValueError(f"{name} must be above 0")


def _half_rad(angle_deg: float) -> float:
    """Half the angle; ValueError unless it lies between 0 and 180 degrees."""
    if not 0 < angle_deg < 180:
        raise ValueError("an angle of view lies between 0 and 180 degrees")
    return math.radians(angle_deg) / 2


def angle_of_view_deg(*, focal_length_mm: float, sensor_width_mm: float) -> float:
    """Angle of view in air. The sensor's width is what the film is made of: a video mode or a
    stabiliser that crops makes it less.

    >>> round(angle_of_view_deg(focal_length_mm=50.0, sensor_width_mm=36.0), 1)
    39.6
    """
    _above_zero("a focal length", focal_length_mm)
    _above_zero("a sensor's width", sensor_width_mm)
    return 2 * math.degrees(math.atan(sensor_width_mm / (2 * focal_length_mm)))


def angle_in_water_deg(angle_deg: float, *, n: float = N_POOL_WATER) -> float:
    """What a flat port leaves of an angle of view in air.

    >>> round(angle_in_water_deg(60.0), 2)
    44.06
    """
    return 2 * math.degrees(math.asin(math.sin(_half_rad(angle_deg)) / n))


def angle_in_air_deg(angle_deg: float, *, n: float = N_POOL_WATER) -> float:
    """The angle of view in air that a flat port narrows to `angle_deg` under water.

    ValueError from 2 * asin(1 / n) on, 97.2 degrees: no lens sees more through a flat port.

    >>> round(angle_in_air_deg(44.06), 2)
    60.0
    """
    bent = n * math.sin(_half_rad(angle_deg))
    if bent >= 1:
        raise ValueError("no lens sees so wide through a flat port")
    return 2 * math.degrees(math.asin(bent))


def seen_angle_deg(angle_deg: float, port: Port) -> float:
    """The angle at which a lens of this angle in air sees the pool.

    >>> seen_angle_deg(60.0, Port.DOME), round(seen_angle_deg(60.0, Port.FLAT), 2)
    (60.0, 44.06)
    """
    return angle_in_water_deg(angle_deg) if port is Port.FLAT else angle_deg


def lens_angle_deg(seen_deg: float, port: Port) -> float:
    """The reverse: the angle in air that a lens must have. ValueError as `angle_in_air_deg`."""
    return angle_in_air_deg(seen_deg) if port is Port.FLAT else seen_deg


def field_width_m(*, distance_m: float, angle_deg: float) -> float:
    """Width of what is in picture at a distance: 2 * distance * tan(angle / 2).

    A lens of 45 degrees behind a flat port, 3.75 m away:

    >>> round(field_width_m(distance_m=3.75, angle_deg=angle_in_water_deg(45.0)), 2)
    2.25
    """
    _above_zero("a distance", distance_m)
    return 2 * distance_m * math.tan(_half_rad(angle_deg))


def distance_for_width_m(*, width_m: float, angle_deg: float) -> float:
    """How far away the picture is so wide.

    >>> round(distance_for_width_m(width_m=2.3, angle_deg=angle_in_water_deg(45.0)), 2)
    3.84
    """
    _above_zero("a width", width_m)
    return width_m / (2 * math.tan(_half_rad(angle_deg)))


def angle_for_width_deg(*, width_m: float, distance_m: float) -> float:
    """The angle at which the picture is so wide at a distance.

    >>> round(angle_for_width_deg(width_m=2.0, distance_m=1.0), 6)
    90.0
    """
    _above_zero("a width", width_m)
    _above_zero("a distance", distance_m)
    return 2 * math.degrees(math.atan(width_m / (2 * distance_m)))


def magnification(off_axis_deg: float, *, n: float = N_POOL_WATER) -> float:
    """How much larger than in air something looks through a flat port, `off_axis_deg` off the
    axis in water: tan(air) / tan(water). On the axis n; outwards ever more, so a picture
    through a flat port has no one scale.

    >>> round(magnification(0.0), 3), round(magnification(20.0), 3)
    (1.333, 1.407)
    """
    if off_axis_deg == 0:
        return n
    in_air_deg = angle_in_air_deg(2 * off_axis_deg, n=n) / 2
    return math.tan(math.radians(in_air_deg)) / math.tan(math.radians(off_axis_deg))


def parallax(*, plane_m: float, nearer_m: float) -> float:
    """How much larger something looks that is `nearer_m` nearer than the plane whose scale is
    known, at `plane_m` from the camera: D / (D - d). Negative: farther, and smaller.

    >>> round(parallax(plane_m=10.0, nearer_m=0.5), 4)
    1.0526
    """
    _above_zero("a distance", plane_m)
    _above_zero("what is left of the distance", plane_m - nearer_m)
    return plane_m / (plane_m - nearer_m)


def typed_angle_deg(
    *,
    angle_deg: float | None = None,
    focal_length_mm: float | None = None,
    sensor_width_mm: float | None = None,
) -> float:
    """The angle in air from what a person typed: the angle itself, or focal length and sensor
    width. BadInput says what is missing, too much or out of range."""
    lengths = (focal_length_mm, sensor_width_mm)
    if (angle_deg is None) == (lengths == (None, None)):
        told = _("Give either the angle of view, or focal length and sensor width.")
        raise BadInput([("angle_deg", told)])
    if angle_deg is not None:
        _in_range("angle_deg", angle_deg, LEAST_ANGLE_DEG, MOST_ANGLE_DEG)
        return angle_deg
    if focal_length_mm is None or sensor_width_mm is None:
        where = "focal_length_mm" if focal_length_mm is None else "sensor_width_mm"
        raise BadInput([(where, _("Focal length and sensor width go together."))])
    _in_range("focal_length_mm", focal_length_mm, 1.0, 1000.0)
    _in_range("sensor_width_mm", sensor_width_mm, SMALL_SENSOR_MM, FULL_FRAME_MM)
    return angle_of_view_deg(focal_length_mm=focal_length_mm, sensor_width_mm=sensor_width_mm)


def _in_range(where: str, value: float, low: float, high: float) -> None:
    errors: Errors = []
    within(value, low, high, where, errors)
    raise_if_any(errors)


@dataclass(frozen=True)
class Pool:
    """Lane 1 is the swum lane, at y = 0 to `lane_m`; rope n lies between lanes n and n + 1."""

    course_m: float
    lanes: int
    lane_m: float = LANE_M
    deck_m: float = DECK_M

    @property
    def swum_y_m(self) -> float:
        """The middle of the swum lane."""
        return self.lane_m / 2

    @property
    def width_m(self) -> float:
        return self.lanes * self.lane_m


@dataclass(frozen=True)
class Stand:
    """A camera at a station. `angle_deg`: of its lens in air. It looks at `aim_m` on the plan,
    or along `bearing_deg`, or, without either, where such a station usually looks. Without
    `port` a camera below the water has a flat one: a housing's, or the window."""

    key: str
    kind: str
    x_m: float
    y_m: float
    z_m: float
    angle_deg: float = USUAL_ANGLE_DEG
    port: Port | None = None
    aim_m: tuple[float, float] | None = None
    bearing_deg: float | None = None
    hears_start: bool = False

    @property
    def through(self) -> Port:
        return self.port or (Port.FLAT if self.z_m < 0 else Port.AIR)


@dataclass(frozen=True)
class Sight:
    """Where and how wide a camera looks.

    `angle_deg` is the angle that water leaves, `plan_angle_deg` the same as drawn: a camera in
    air looks down at the surface, which opens the angle on the plan a little. `distance_m` to
    a swimmer on the lane's middle line, along the axis, and `width_m` of the picture there are
    None if the axis does not meet that line.
    """

    bearing_deg: float
    angle_deg: float
    plan_angle_deg: float
    distance_m: float | None
    width_m: float | None


def usual_aim_m(stand: Stand, pool: Pool) -> tuple[float, float]:
    """The middle of the swum lane: straight across, but 5 m into the lane from a window in an
    end wall (or from where the lane itself ends), and midway between block and entry from the
    start side."""
    at_start, at_far = stand.x_m <= WALL_ROOM_M, stand.x_m >= pool.course_m - WALL_ROOM_M
    reach_m = pool.width_m if stand.kind == TURN_WINDOW else pool.lane_m
    if (at_start or at_far) and 0 <= stand.y_m <= reach_m:
        in_m = min(TURN_LOOK_M, pool.course_m / 2)
        return (in_m if at_start else pool.course_m - in_m), pool.swum_y_m
    if stand.kind == START_SIDE:
        return (START_FROM_M + START_TO_M) / 2, pool.swum_y_m
    return min(max(stand.x_m, 0.0), pool.course_m), pool.swum_y_m


def sight_of(stand: Stand, pool: Pool) -> Sight:
    """Under water the camera is taken to look level, and the water to begin at the camera; one
    that stands behind its window sees a little more than this says."""
    bearing_deg = _bearing_deg(stand, pool)
    angle_deg = seen_angle_deg(stand.angle_deg, stand.through)
    across, rise = pool.swum_y_m - stand.y_m, math.sin(math.radians(bearing_deg))
    if across * rise <= NEAR_M:
        return Sight(bearing_deg, angle_deg, angle_deg, None, None)
    plan_m = across / rise
    distance_m = math.hypot(plan_m, stand.z_m) if stand.through is Port.AIR else plan_m
    width_m = field_width_m(distance_m=distance_m, angle_deg=angle_deg)
    plan_deg = angle_for_width_deg(width_m=width_m, distance_m=plan_m)
    return Sight(bearing_deg, angle_deg, plan_deg, distance_m, width_m)


def _bearing_deg(stand: Stand, pool: Pool) -> float:
    if stand.aim_m is None and stand.bearing_deg is not None:
        return stand.bearing_deg
    aim_x, aim_y = stand.aim_m or usual_aim_m(stand, pool)
    along, across = aim_x - stand.x_m, aim_y - stand.y_m
    if math.hypot(along, across) < NEAR_M:
        return 90.0
    return math.degrees(math.atan2(across, along))
