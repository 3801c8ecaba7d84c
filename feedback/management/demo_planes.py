"""Metres in the demo's pictures: marks at what the generator paints at a known place.

No marker stands on its decks. What a person can see and know the place of is used: the block, the
wall and its pad, the tile lines of the floor, and the floats of the rope, one by one, as if they
had been measured. The generator paints one plane, upright along the lane, so marks are given as
metres along and up from the surface. The deck camera turns along, so nothing holds in it."""

from __future__ import annotations

import json
from pathlib import Path

from clinics.management.demo.backgrounds import VIEWS
from clinics.management.demo.sprites import HEIGHT_PX, WIDTH_PX
from clinics.models import Clinic, Clip, Recording
from feedback.actions.frames import FrameUnknown
from feedback.actions.planes_place import Span, draft_plane, moves, place_plane
from feedback.compute.measuring.plane_marks import COVERAGE, USUAL_CM, SetMark, What
from feedback.models import PicturePlane
from portal.models import User

LANE_MIDDLE_M = 1.25  # from the edge of the swum lane's side
LEAST_DISTANCE_M = 0.3
_FLOOR_PX = {"underwater": HEIGHT_PX - 34, "turn-window": HEIGHT_PX - 26}


def painted_marks(kind: str, course_m: float) -> list[SetMark]:
    """What is painted in a station's picture, set to whole pixels as a hand would."""
    made = {"start-side": _start_side, "underwater": _underwater, "turn-window": _turn_window}
    return made[kind](course_m) if kind in made else []


def _start_side(_course_m: float) -> list[SetMark]:
    block = [
        _at("start-side", along, up, What.OTHER) for along, up in ((0.03, 0.70), (-0.62, 0.54))
    ]
    edge = _at("start-side", 0.0, 0.3, What.WALL)
    wall_px = round((0.0 - VIEWS["start-side"].left_m) * VIEWS["start-side"].px_per_m)
    return [*block, edge, *(_float("start-side", wall_px, 5, 46, n) for n in (0, 12, 24, 30))]


def _underwater(_course_m: float) -> list[SetMark]:
    floor = _FLOOR_PX["underwater"]
    tiles = [_on_row("underwater", along, floor, What.TILE) for along in (11.0, 12.0, 14.0)]
    return [*tiles, *(_float("underwater", 0, 6, 2, n) for n in (6, 18, 30))]


def _turn_window(course_m: float) -> list[SetMark]:
    foot = _on_row("turn-window", course_m, _FLOOR_PX["turn-window"], What.WALL)
    pad = [
        _on_row("turn-window", course_m, VIEWS["turn-window"].water_row_px + 62 + by, What.WALL)
        for by in (-46, 46)
    ]
    return [foot, *pad, *(_float("turn-window", 0, 6, 2, n) for n in (0, 6, 24))]


def _float(kind: str, left_px: int, radius_px: int, below_px: int, n: int) -> SetMark:
    """The rope's n-th float: they stand three radii apart, `below_px` under the water line."""
    view = VIEWS[kind]
    along_m = (left_px + radius_px + 3 * radius_px * n) / view.px_per_m + view.left_m
    return _on_row(kind, along_m, view.water_row_px + below_px, What.FLOAT)


def _on_row(kind: str, along_m: float, row_px: int, what: What) -> SetMark:
    view = VIEWS[kind]
    return _at(kind, along_m, (view.water_row_px - row_px) / view.px_per_m, what)


def _at(kind: str, along_m: float, up_m: float, what: What) -> SetMark:
    view = VIEWS[kind]
    px = round((along_m - view.left_m) * view.px_per_m)
    py = round(view.water_row_px - up_m * view.px_per_m)
    u_m = USUAL_CM[what] / 100 / COVERAGE
    return SetMark(px / WIDTH_PX, py / HEIGHT_PX, along_m, up_m, u_m, what)


def place_demo_planes(*, clinic: Clinic, folder: Path, by: User) -> int:
    """One on each recording of a station that stands still, of which a swim was passed on, and
    that has none yet; how many were placed."""
    course_m = json.loads((folder / "truth.json").read_text())["course_m"]
    without = Recording.objects.filter(station__clinic=clinic, planes=None)
    placed = 0
    for recording in without.select_related("station"):
        marks = painted_marks(recording.station.kind, course_m)
        clip = _clip_of(recording)
        if marks and clip is not None and not moves(recording.station):
            placed += _place(clip, marks, by)
    return placed


def _clip_of(recording: Recording) -> Clip | None:
    clips = Clip.objects.filter(recording=recording, state="ready", swim__passed_at__isnull=False)
    return clips.select_related("station", "recording", "swim__entry__clinic__club").first()


def _place(clip: Clip, marks: list[SetMark], by: User) -> int:
    off_m = abs(clip.station.y_m - LANE_MIDDLE_M)
    try:
        draft = draft_plane(
            clip=clip,
            frame=0,
            marks=marks,
            span=Span.WHOLE,
            lies=PicturePlane.Lies.UPRIGHT,
            size_px=(WIDTH_PX, HEIGHT_PX),
            distance_m=off_m if off_m >= LEAST_DISTANCE_M else None,
        )
    except FrameUnknown:  # a recording whose list of frames is gone takes none
        return 0
    place_plane(draft=draft, swim=clip.swim, by=by)
    return 1
