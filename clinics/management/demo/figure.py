"""The simple figure that swims through the demo, as strokes and dots in metres.

Origin is the hips, x forwards, y upwards. Two flat colours for the body and one for the cap; no
likeness of anybody.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

from PIL import Image, ImageDraw

Point = tuple[float, float]
Colour = tuple[int, int, int]

REACH_M = 1.55
"""Half the side of the square that holds the figure in every pose."""
OVERSAMPLING = 3


@dataclass(frozen=True)
class Colours:
    skin: Colour
    suit: Colour
    cap: Colour


@dataclass(frozen=True)
class Joints:
    """The figure's strokes: each limb from the body outwards."""

    shoulder: Point
    head: Point
    near_arm: tuple[Point, Point]
    far_arm: tuple[Point, Point]
    near_leg: tuple[Point, Point, Point]
    far_leg: tuple[Point, Point, Point]


def joints_of(pose: str, phase: float) -> Joints:
    """The joints of a named pose at ``phase`` (turns, 0 to 1) of its cycle."""
    if pose in ("freestyle", "backstroke", "breaststroke", "butterfly"):
        return _stroking(pose, phase)
    return _POSES[pose](phase)


def draw_figure(
    pose: str, phase: float, lean_deg: float, forward: bool, colours: Colours, px_per_m: float
) -> Image.Image:
    """The figure on a clear square of 2 * REACH_M, hips in the middle."""
    side_px = round(2 * REACH_M * px_per_m / 2) * 2
    big = Image.new("RGBA", (side_px * OVERSAMPLING,) * 2, (*colours.skin, 0))
    scale = side_px * OVERSAMPLING / (2 * REACH_M)
    cos, sin = math.cos(math.radians(lean_deg)), math.sin(math.radians(lean_deg))

    def place(point: Point) -> Point:
        x_m, y_m = point[0] * cos - point[1] * sin, point[0] * sin + point[1] * cos
        return (REACH_M + (x_m if forward else -x_m)) * scale, (REACH_M - y_m) * scale

    _draw_joints(ImageDraw.Draw(big), joints_of(pose, phase), colours, place, scale)
    return big.resize((side_px, side_px), Image.Resampling.BOX)


def _draw_joints(draw, joints: Joints, colours: Colours, place, scale: float) -> None:
    shade = tuple(round(part * 0.78) for part in colours.skin)
    hips: Point = (0.0, 0.0)
    waist = _between(hips, joints.shoulder, 0.45)

    def limb(points, widths_m, colour) -> None:
        for (start, end), width_m in zip(pairwise(points), widths_m, strict=True):
            _thick_line(draw, place(start), place(end), width_m * scale, colour)

    limb((joints.shoulder, *joints.far_arm), (0.105, 0.085), shade)
    limb((hips, *joints.far_leg), (0.165, 0.12, 0.075), shade)
    limb((joints.shoulder, joints.head), (0.13,), colours.skin)
    limb((hips, *joints.near_leg), (0.175, 0.125, 0.08), colours.skin)
    limb((waist, joints.shoulder), (0.25,), colours.skin)
    limb((_between(hips, joints.near_leg[0], 0.3), hips, waist), (0.19, 0.235), colours.suit)
    _dot(draw, place(joints.head), 0.125 * scale, colours.skin)
    _cap(draw, place, joints, colours.cap, scale)
    limb((joints.shoulder, *joints.near_arm), (0.11, 0.09), colours.skin)


def _cap(draw, place, joints: Joints, colour: Colour, scale: float) -> None:
    """The cap covers the crown: the side of the head away from the shoulder."""
    away = _towards(joints.shoulder, joints.head, 0.035)
    crown = (joints.head[0] + away[0], joints.head[1] + away[1] + 0.012)
    _dot(draw, place(crown), 0.118 * scale, colour)


def _thick_line(draw, start: Point, end: Point, width_px: float, colour) -> None:
    draw.line((start, end), fill=(*colour, 255), width=max(1, round(width_px)))
    _dot(draw, start, width_px / 2, colour)
    _dot(draw, end, width_px / 2, colour)


def _dot(draw, centre: Point, radius_px: float, colour) -> None:
    x, y = centre
    box = (x - radius_px, y - radius_px, x + radius_px, y + radius_px)
    draw.ellipse(box, fill=(*colour, 255))


def _between(start: Point, end: Point, part: float) -> Point:
    return start[0] + (end[0] - start[0]) * part, start[1] + (end[1] - start[1]) * part


def _towards(start: Point, end: Point, length: float) -> Point:
    dx, dy = end[0] - start[0], end[1] - start[1]
    norm = math.hypot(dx, dy) or 1.0
    return dx / norm * length, dy / norm * length


def _two_links(start: Point, end: Point, lengths: Point, bend: float) -> tuple[Point, Point]:
    """Middle joint and end of a limb that reaches for ``end``; ``bend`` is +1 or -1."""
    dx, dy = end[0] - start[0], end[1] - start[1]
    full = sum(lengths) * 0.999
    far = max(math.hypot(dx, dy), 1e-6)
    if far > full:
        dx, dy, far = dx * full / far, dy * full / far, full
    along = (lengths[0] ** 2 - lengths[1] ** 2 + far**2) / (2 * far)
    aside = math.sqrt(max(lengths[0] ** 2 - along**2, 0.0)) * bend
    ux, uy = dx / far, dy / far
    middle = (start[0] + ux * along - uy * aside, start[1] + uy * along + ux * aside)
    return middle, (start[0] + dx, start[1] + dy)


ARM_M = (0.31, 0.36)
LEG_M = (0.43, 0.43)
FOOT_M = 0.2


def _leg(ankle: Point, toe_deg: float, bend: float = 1.0) -> tuple[Point, Point, Point]:
    knee, end = _two_links((0.0, 0.0), ankle, LEG_M, bend)
    turn = math.radians(toe_deg)
    return knee, end, (end[0] + FOOT_M * math.cos(turn), end[1] + FOOT_M * math.sin(turn))


def _kicking_leg(swing: float) -> tuple[Point, Point, Point]:
    """A stretched leg that swings around the body's line; ``swing`` is -1 to 1."""
    return _leg((-0.835, 0.13 * swing - 0.01), 183 - 14 * swing, bend=-1.0)


def _stroking(stroke: str, phase: float) -> Joints:
    turn = 2 * math.pi * phase
    shoulder: Point = (0.52, 0.03)
    if stroke == "breaststroke":
        return _breaststroke(turn, shoulder)
    sense = 1.0 if stroke == "backstroke" else -1.0
    far_turn = turn if stroke == "butterfly" else turn + math.pi
    kick = math.sin(2 * turn if stroke == "butterfly" else 3 * turn)
    far_kick = kick if stroke == "butterfly" else -kick
    return Joints(
        shoulder=shoulder,
        head=(0.76, 0.05),
        near_arm=_circling_arm(shoulder, sense * turn),
        far_arm=_circling_arm(shoulder, sense * far_turn),
        near_leg=_kicking_leg(kick),
        far_leg=_kicking_leg(far_kick),
    )


def _circling_arm(shoulder: Point, turn: float) -> tuple[Point, Point]:
    """Hand ahead at 0, below at minus a quarter, by the hip at a half, above at a quarter."""
    reach = 0.62 - 0.12 * abs(math.sin(turn)) + 0.04 * math.cos(turn)
    hand = (shoulder[0] + reach * math.cos(turn), shoulder[1] + reach * math.sin(turn))
    bend = 1.0 if math.cos(turn / 2 + math.pi / 4) >= 0 else -1.0
    return _two_links(shoulder, hand, ARM_M, bend)


def _breaststroke(turn: float, shoulder: Point) -> Joints:
    pull = max(0.0, math.sin(turn))
    kick = max(0.0, -math.sin(turn))
    hand = (shoulder[0] + 0.66 - 0.5 * pull, shoulder[1] - 0.34 * pull)
    arm = _two_links(shoulder, hand, ARM_M, 1.0)
    leg = _leg((-0.83 + 0.52 * kick, -0.02 + 0.06 * kick), 185 - 60 * kick, bend=1.0)
    head = (0.75, 0.05 + 0.12 * pull)
    return Joints(shoulder, head, arm, arm, leg, leg)


def _glide(phase: float) -> Joints:
    """Stretched, hands ahead, both legs in a small wave."""
    shoulder: Point = (0.52, 0.0)
    leg = _kicking_leg(0.8 * math.sin(2 * math.pi * phase))
    near = _two_links(shoulder, (1.18, 0.05), ARM_M, 1.0)
    far = _two_links(shoulder, (1.18, 0.01), ARM_M, 1.0)
    return Joints(shoulder, (0.73, -0.02), near, far, leg, leg)


def _crouch(_: float) -> Joints:
    """Ready on the block: hips high, hands to its front edge, one foot behind."""
    shoulder: Point = (0.36, -0.22)
    arm = _two_links(shoulder, (0.26, -0.74), ARM_M, -1.0)
    near = _leg((0.06, -0.7), -4, bend=1.0)
    far = _leg((-0.36, -0.62), -22, bend=1.0)
    return Joints(shoulder, (0.5, -0.38), arm, arm, near, far)


def _hang(_: float) -> Joints:
    """Ready in the water: feet against the wall, arms back to the grip, face up."""
    shoulder: Point = (0.32, 0.36)
    arm = _two_links(shoulder, (-0.32, 0.42), ARM_M, -1.0)
    leg = _leg((-0.4, -0.2), 120, bend=1.0)
    return Joints(shoulder, (0.44, 0.56), arm, arm, leg, leg)


def _curl(_: float) -> Joints:
    shoulder: Point = (0.4, -0.14)
    arm = _two_links(shoulder, (0.22, -0.42), ARM_M, 1.0)
    leg = _leg((0.02, -0.42), 200, bend=1.0)
    return Joints(shoulder, (0.47, -0.36), arm, arm, leg, leg)


def _push(_: float) -> Joints:
    """Both feet planted on the wall behind, arms already ahead."""
    shoulder: Point = (0.52, 0.0)
    near = _two_links(shoulder, (1.14, 0.06), ARM_M, 1.0)
    far = _two_links(shoulder, (1.14, 0.0), ARM_M, 1.0)
    leg = _leg((-0.56, -0.08), 96, bend=-1.0)
    far_leg = _leg((-0.56, 0.02), 96, bend=-1.0)
    return Joints(shoulder, (0.73, -0.03), near, far, leg, far_leg)


def _reach(_: float) -> Joints:
    """The finish: both hands at the wall, body hanging in the water."""
    shoulder: Point = (0.3, 0.3)
    arm = _two_links(shoulder, (0.78, 0.22), ARM_M, 1.0)
    leg = _leg((-0.5, -0.55), 215, bend=-1.0)
    return Joints(shoulder, (0.38, 0.52), arm, arm, leg, leg)


def _stand(_: float) -> Joints:
    """Facing us, both hands before the chest where the number card is held."""
    shoulder: Point = (0.0, 0.5)
    near = _two_links(shoulder, (0.2, 0.22), ARM_M, 1.0)
    far = _two_links(shoulder, (-0.2, 0.22), ARM_M, -1.0)
    near_leg, far_leg = _leg((0.1, -0.84), -8, 1.0), _leg((-0.1, -0.84), 188, -1.0)
    return Joints(shoulder, (0.0, 0.75), near, far, near_leg, far_leg)


def _walk(phase: float) -> Joints:
    swing = math.sin(2 * math.pi * phase)
    shoulder: Point = (0.04, 0.5)
    near = _two_links(shoulder, (0.04 + 0.24 * swing, -0.06), ARM_M, -1.0)
    far = _two_links(shoulder, (0.04 - 0.24 * swing, -0.06), ARM_M, -1.0)
    near_leg, far_leg = _leg((-0.3 * swing, -0.8), 0), _leg((0.3 * swing, -0.8), 0)
    return Joints(shoulder, (0.07, 0.75), near, far, near_leg, far_leg)


_POSES = {
    "glide": _glide,
    "crouch": _crouch,
    "hang": _hang,
    "curl": _curl,
    "push": _push,
    "reach": _reach,
    "stand": _stand,
    "walk": _walk,
}
