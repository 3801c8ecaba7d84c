"""What the demo's coach draws: the elbow's angle, and the way that the hand came.

The demo knows where its figure's joints are, so that the drawings lie on the arm at whatever
instant the clip was cut.
"""

from __future__ import annotations

import contextlib
import math

from clinics.management.demo.backgrounds import VIEWS, View
from clinics.management.demo.figure import joints_of
from clinics.management.demo.motion import Posture
from clinics.management.demo.occasions import AUTUMN
from clinics.management.demo.scenario import DemoSwim, Scenario
from clinics.management.demo.sprites import HEIGHT_PX, LEAN_STEP_DEG, PHASES, WIDTH_PX
from clinics.models import Recording, Swim
from feedback.actions.draw import draw
from feedback.actions.frames import frame_at, swim_s_at
from feedback.compute.drawing import PointsWrong
from feedback.models import Comment, Drawing
from portal.models import User

SEED = 1
VIEW = "underwater"  # the station's slug and its kind
WAY_S, EVERY_S = 0.6, 0.05  # how far back the hand's way goes

Point = tuple[float, float]


def draw_elbow(*, swim: Swim, by: User, comment: Comment | None, short: bool) -> list[Drawing]:
    """A joint and a trace that belong to the comment, on its frame; those that are in picture."""
    found = [one for one in Scenario(AUTUMN, SEED, short).swims if _is(one, swim)]
    clip = swim.clips.filter(station__slug=VIEW, state="ready").first()
    if not found or clip is None or comment is None or comment.pts_ticks is None:
        return []
    # straight from the database: the clock's fit is that of now
    recording = Recording.objects.select_related("clock_fit").get(pk=clip.recording_id)
    frame = frame_at(clip, comment.pts_ticks)
    at_s = swim_s_at(swim, recording, comment.pts_ticks)
    if frame is None or at_s is None:
        return []
    drawn = []
    for kind, colour, points in (
        ("joint", "flag", arm_at(found[0], at_s)),
        ("trace", "water", hand_way(found[0], at_s)),
    ):
        with contextlib.suppress(PointsWrong):  # the arm is not in picture, or there is no arm
            drawing = draw(
                swim=swim,
                by=by,
                clip=clip,
                frame=frame,
                kind=kind,
                points=points,
                colour=colour,
                width_px=WIDTH_PX,
                height_px=HEIGHT_PX,
                comment=comment,
            )
            drawn.append(drawing)
    return drawn


def _is(one: DemoSwim, swim: Swim) -> bool:
    return one.swimmer.number == swim.entry.number


def arm_at(one: DemoSwim, swim_s: float) -> list[Point]:
    """Shoulder, elbow and hand of the nearer arm, in fractions of the underwater picture."""
    posture = one.go.posture_at(swim_s)
    if posture is None:
        return []
    # as the sprites are: in steps of phase and lean
    joints = joints_of(posture.pose, int(posture.phase * PHASES) / PHASES)
    return [
        in_picture(point, posture, VIEWS[VIEW]) for point in (joints.shoulder, *joints.near_arm)
    ]


def hand_way(one: DemoSwim, swim_s: float) -> list[Point]:
    steps = range(round(WAY_S / EVERY_S), -1, -1)
    arms = [arm_at(one, swim_s - step * EVERY_S) for step in steps]
    return [arm[-1] for arm in arms if arm]


def in_picture(point: Point, posture: Posture, view: View) -> Point:
    """A point of the figure, as the sprites are: in steps of lean."""
    lean = math.radians(round(posture.lean_deg / LEAN_STEP_DEG) * LEAN_STEP_DEG)
    forward_m = point[0] * math.cos(lean) - point[1] * math.sin(lean)
    up_m = point[0] * math.sin(lean) + point[1] * math.cos(lean)
    x_m = posture.x_m + (forward_m if posture.towards_turn else -forward_m)
    x_px = (x_m - view.left_m) * view.px_per_m
    y_px = view.water_row_px - (posture.z_m + up_m) * view.px_per_m
    return x_px / WIDTH_PX, y_px / HEIGHT_PX
