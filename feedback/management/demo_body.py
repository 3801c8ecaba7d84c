"""Points of the body in the demo, where the figure is painted: three frames of one swimmer under
water, with the whole body, and one of another at the entry.

The figure has no heels, and an arm that is out of the water is not seen from below: so its feet
and that arm are missing in the centre of mass, as in many pictures.
"""

from __future__ import annotations

import datetime as dt
import json
import math
from pathlib import Path
from typing import Any

from clinics.management.demo.backgrounds import VIEWS, View
from clinics.management.demo.figure import Joints, joints_of
from clinics.management.demo.motion import COURSE_M, Go
from clinics.management.demo.sprites import HEIGHT_PX, PHASES, WIDTH_PX
from clinics.models import Clinic, Clip, Swim
from feedback.actions.body import set_body_points
from feedback.actions.frames import FrameUnknown, pts_ticks_of, swim_s_at
from feedback.compute.measuring.body.tables import Side
from feedback.management.demo_axis import true_starts
from feedback.management.demo_drawings import in_picture
from portal.models import User

Point = tuple[float, float]
SWIMS, FRAMES = 2, 3
APART_S = 0.12  # between the frames of a way
WRIST, NECK, CROWN_M = 0.75, 0.45, 0.12  # along forearm and hand, from shoulder to head, beyond it
FLIGHT_S = 0.04  # before the hips go through the surface
INSIDE = 0.02  # of the picture: what is nearer to its edge is not all in it


def place_demo_body(*, clinic: Clinic, folder: Path, by: User) -> int:
    """On two swims that were passed on and have none yet; how many frames have points now."""
    truth = json.loads((folder / "truth.json").read_text())
    swims = {one["number"]: one for one in truth["swims"]}
    starts = true_starts(clinic, truth)
    passed = Swim.objects.filter(entry__clinic=clinic, passed_at__isnull=False, body_points=None)
    rows = passed.select_related("entry__clinic__club", "entry__swimmer").order_by("start_at")
    left = SWIMS - _swims_with_points(clinic)
    placed = 0
    for swim in (one for one in rows if one.entry.number in swims):
        if left <= 0:
            break
        number = swim.entry.number
        count = _place(swim, swims[number], starts[number], by, whole=left == SWIMS)
        left -= count > 0
        placed += count
    return placed


def _swims_with_points(clinic: Clinic) -> int:
    return Swim.objects.filter(entry__clinic=clinic, body_points__isnull=False).distinct().count()


def _place(
    swim: Swim, truth: dict[str, Any], start_at: dt.datetime, by: User, *, whole: bool
) -> int:
    entry = swim.entry
    lengths = round(entry.clinic.distance_m / COURSE_M)
    go = Go(truth["duration_s"], entry.stroke, entry.start == "water", lengths=lengths)
    ready = Clip.objects.filter(swim=swim, state="ready").select_related(
        "station", "recording__clock_fit"
    )
    placed = 0
    for clip, frame, points in _stills(swim, list(ready), go, start_at, whole=whole):
        set_body_points(
            swim=swim,
            by=by,
            clip=clip,
            frame=frame,
            points=points if whole else at_entry(points),
            width_px=WIDTH_PX,
            height_px=HEIGHT_PX,
        )
        placed += 1
    return placed


def _stills(
    swim: Swim, clips: list[Clip], go: Go, start_at: dt.datetime, *, whole: bool
) -> list[tuple[Clip, int, dict[str, Point]]]:
    """Frames that have the body in them: some under water, all with the same points in sight,
    or one at the entry."""
    late_s = (swim.start_at - start_at).total_seconds()  # the swim's zero as found is not the truth
    kind = "underwater" if whole else "start-side"
    for clip in (clip for clip in clips if clip.station.kind == kind):
        seen: list[tuple[float, int, dict[str, Point]]] = []
        for frame in range(clip.frame_count):
            at_s = _swim_s(swim, clip, frame)
            if at_s is None:
                break
            at_s += late_s
            if whole or go.entry_s - FLIGHT_S <= at_s <= go.entry_s:
                points = points_at(go, at_s, VIEWS[kind])
                if points and _inside(points):
                    seen.append((at_s, frame, points))
        found = _row_of(seen) if whole else seen[:1]
        if found:
            return [(clip, frame, points) for _at_s, frame, points in found]
    return []


def _row_of(
    seen: list[tuple[float, int, dict[str, Point]]],
) -> list[tuple[float, int, dict[str, Point]]]:
    """Frames, each so long after the one before, that have most points in common, with these."""
    best: list[tuple[float, int, dict[str, Point]]] = []
    for n, first in enumerate(seen):
        row = [first]
        for one in seen[n + 1 :]:
            if len(row) < FRAMES and row[-1][0] + APART_S <= one[0] <= row[-1][0] + 2 * APART_S:
                row.append(one)
        common = set(first[2]).intersection(*(one[2] for one in row))
        if len(row) == FRAMES and (not best or len(common) > len(best[0][2])):
            best = [
                (at_s, frame, {name: at for name, at in points.items() if name in common})
                for at_s, frame, points in row
            ]
    return best


def _swim_s(swim: Swim, clip: Clip, frame: int) -> float | None:
    try:
        return swim_s_at(swim, clip.recording, pts_ticks_of(clip, frame))
    except FrameUnknown:
        return None


def _inside(points: dict[str, Point]) -> bool:
    return all(INSIDE <= part <= 1 - INSIDE for point in points.values() for part in point)


def points_at(go: Go, swim_s: float, view: View) -> dict[str, Point]:
    """The figure's joints as they are painted, in parts of the picture; {}: nobody is there. A
    camera under water does not see what is above it."""
    posture = go.posture_at(swim_s)
    if posture is None:
        return {}
    # as the sprites are: in steps of phase
    joints = joints_of(posture.pose, int(posture.phase * PHASES) / PHASES)
    on_back = go.stroke == "backstroke" and go.is_swimming(swim_s)
    near = Side.RIGHT if posture.towards_turn is not on_back else Side.LEFT
    points = {name: in_picture(at, posture, view) for name, at in named(joints, near).items()}
    surface = 0.0 if view.from_above else view.water_row_px / HEIGHT_PX
    return {name: at for name, at in points.items() if at[1] >= surface}


def named(joints: Joints, near: Side) -> dict[str, Point]:
    """In the figure's own metres, hips at (0, 0). `near`: the side that the camera sees."""
    far = Side.LEFT if near is Side.RIGHT else Side.RIGHT
    head_m = math.dist(joints.shoulder, joints.head)
    points = {
        "vertex": between(joints.shoulder, joints.head, 1 + CROWN_M / head_m),
        "neck": between(joints.shoulder, joints.head, NECK),
    }
    for side, arm, leg in (
        (near, joints.near_arm, joints.near_leg),
        (far, joints.far_arm, joints.far_leg),
    ):
        points |= {
            f"shoulder-{side}": joints.shoulder,
            f"elbow-{side}": arm[0],
            f"wrist-{side}": between(arm[0], arm[1], WRIST),
            f"fingertip-{side}": arm[1],
            f"hip-{side}": (0.0, 0.0),
            f"knee-{side}": leg[0],
            f"ankle-{side}": leg[1],
            f"toe-{side}": leg[2],
        }
    return points


def at_entry(points: dict[str, Point]) -> dict[str, Point]:
    """Those that an entry angle needs, of the side that the camera sees, with a level line on
    the painted water."""
    level_y = VIEWS["start-side"].water_row_px / HEIGHT_PX
    kept = ("fingertip-right", "vertex", "shoulder-right", "hip-right", "knee-right", "ankle-right")
    its = {name: points[name] for name in kept}
    return {**its, "level-1": (0.65, level_y), "level-2": (0.95, level_y)}


def between(start: Point, end: Point, part: float) -> Point:
    return start[0] + (end[0] - start[0]) * part, start[1] + (end[1] - start[1]) * part
