"""The demo's points stand where the figure is painted, and give its own angles and speed."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from clinics.management.demo.backgrounds import VIEWS
from clinics.management.demo.figure import joints_of
from clinics.management.demo.motion import Go
from clinics.management.demo.sprites import LEAN_STEP_DEG, PHASES
from clinics.models import Swim
from feedback.actions.body_told import body_of, ways_of
from feedback.actions.frames import swim_s_at
from feedback.compute.measuring.angles import joint_deg
from feedback.compute.measuring.body.figures import Kind
from feedback.compute.measuring.body.tables import Side
from feedback.management.demo_body import place_demo_body, points_at
from feedback.management.demo_planes import place_demo_planes
from feedback.models import BodyPoints
from tests.cast import FPS, Cast

HIPS = (0.0, 0.0)


def filmed(cast: Cast, folder: Path) -> dict[str, Go]:
    """Tomas and Wren by both cameras, the whole swim long; their goes, as painted."""
    goes = {"tomas": Go(28.0, "freestyle", from_water=False), "wren": Go(26.0, "freestyle", False)}
    told = []
    for name, go in goes.items():
        swim = cast.swims[name]
        Swim.objects.filter(pk=swim.pk).update(passed_at=swim.start_at)
        entry = swim.entry
        entry.stroke, entry.start = "freestyle", "block"
        entry.save()
        clips = cast.clips[name]
        for clip in clips:
            start_s = (swim.start_at - clip.recording.clock_fit.zero_at).total_seconds()
            clip.first_frame, clip.frame_count = round(start_s * FPS), 30 * FPS
            clip.in_ticks = clip.first_frame * 3600
            clip.out_ticks, clip.state = clip.in_ticks + 30 * 90_000, "ready"
            clip.save()
        told.append(
            {
                "number": entry.number,
                "start_at": swim.start_at.isoformat(),
                "duration_s": go.duration_s,
            }
        )
    (folder / "truth.json").write_text(json.dumps({"swims": told, "course_m": 25.0}))
    return goes


def test_points_of_the_demo_tell_the_figures_own_angles(cast: Cast, tmp_path: Path) -> None:
    goes = filmed(cast, tmp_path)
    placed = place_demo_body(clinic=cast.clinic, folder=tmp_path, by=cast.coach)
    rows = list(BodyPoints.objects.select_related("swim__entry", "recording__clock_fit"))
    assert placed == len(rows) == 4
    assert place_demo_body(clinic=cast.clinic, folder=tmp_path, by=cast.coach) == 0
    by_swim = {row.swim_id: [one for one in rows if one.swim_id == row.swim_id] for row in rows}
    assert sorted(len(its) for its in by_swim.values()) == [1, 3]
    for row in rows:
        go = goes["tomas" if row.swim_id == cast.swims["tomas"].pk else "wren"]
        at_s = swim_s_at(row.swim, row.recording, row.pts_ticks)
        assert at_s is not None
        posture = go.posture_at(at_s)
        assert posture is not None and posture.towards_turn
        joints = joints_of(posture.pose, int(posture.phase * PHASES) / PHASES)
        true = {
            (Kind.ELBOW, "right"): joint_deg(joints.shoulder, *joints.near_arm),
            (Kind.ELBOW, "left"): joint_deg(joints.shoulder, *joints.far_arm),
            (Kind.KNEE, "right"): joint_deg(HIPS, *joints.near_leg[:2]),
            (Kind.HIP, "left"): joint_deg(joints.shoulder, HIPS, joints.far_leg[0]),
            (Kind.ANKLE, "right"): joint_deg(*joints.near_leg),
        }
        found = {
            (one.kind, one.side.value): one.quantity
            for one in body_of(row).angles
            if one.side is not None
        }
        compared = set(true) & set(found)
        # all five, or those without the arm that is out of the water
        assert len(compared) in ((4, 5) if "level-1" not in row.points else (1,))
        for key in compared:
            assert abs(found[key].value - true[key]) <= found[key].half_width_95, key


def test_the_dives_body_line_is_that_of_the_lean(cast: Cast, tmp_path: Path) -> None:
    goes = filmed(cast, tmp_path)
    place_demo_body(clinic=cast.clinic, folder=tmp_path, by=cast.coach)
    row = next(row for row in BodyPoints.objects.all() if "level-1" in row.points)
    go = goes["tomas" if row.swim_id == cast.swims["tomas"].pk else "wren"]
    at_s = swim_s_at(row.swim, row.recording, row.pts_ticks)
    posture = go.posture_at(at_s or 0.0)
    assert posture is not None and posture.pose == "glide"
    lean_deg = round(posture.lean_deg / LEAN_STEP_DEG) * LEAN_STEP_DEG
    hands = next(one for one in body_of(row).angles if one.kind is Kind.ENTRY_HANDS)
    # the glide's hand is 0.05 m above its hips' line, 1.18 m ahead: 2.4 degrees
    assert hands.quantity.value == pytest.approx(-lean_deg - 2.4, abs=0.2)
    assert body_of(row).seen.level is not None


def test_the_centre_moves_as_fast_as_the_generator_moves_the_swimmer(
    cast: Cast, tmp_path: Path
) -> None:
    goes = filmed(cast, tmp_path)
    place_demo_body(clinic=cast.clinic, folder=tmp_path, by=cast.coach)
    assert place_demo_planes(clinic=cast.clinic, folder=tmp_path, by=cast.coach) > 0
    rows = list(BodyPoints.objects.select_related("swim", "recording__clock_fit"))
    (way,) = ways_of(body_of(row) for row in rows)
    assert len(way.between) == 2
    swim = way.bodies[0].row.swim
    go = goes["tomas" if swim.pk == cast.swims["tomas"].pk else "wren"]
    for one in way.between:
        assert one.step is not None
        ends_s = [
            swim_s_at(swim, body.row.recording, body.row.pts_ticks) for body in (one.one, one.other)
        ]
        assert ends_s[0] is not None and ends_s[1] is not None
        hips = [go.place_at(at_s)[0] for at_s in ends_s]  # type: ignore[arg-type]
        true = (hips[1] - hips[0]) / (ends_s[1] - ends_s[0])
        # the arms move the centre against the hips by a few centimetres
        assert abs(one.step.along.value - true) < one.step.along.half_width_95 + 0.25
        assert one.step.along.value > 1.0 and one.step.along.half_width_95 < 0.5


def test_whoever_goes_the_other_way_shows_the_other_side() -> None:
    go = Go(28.0, "freestyle", from_water=False)
    there, back = points_at(go, 6.12, VIEWS["underwater"]), points_at(go, 20.0, VIEWS["underwater"])
    assert there["hip-right"] == there["hip-left"] and there["knee-right"] != there["knee-left"]
    assert there["vertex"][0] > there["hip-left"][0] and back["vertex"][0] < back["hip-left"][0]
    surface = VIEWS["underwater"].water_row_px / 360
    assert all(y >= surface for points in (there, back) for _x, y in points.values())
    assert {f"knee-{side}" for side in Side} <= set(back)
    assert points_at(go, 400.0, VIEWS["underwater"]) == {}
