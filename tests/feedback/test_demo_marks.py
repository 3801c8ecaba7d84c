"""The demo's marks stand where the swimmers are painted, and give the generator's own numbers."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from clinics.management.demo.motion import Go
from clinics.models import ClockFit, Swim
from feedback.actions.measured import measured_of
from feedback.management.demo_marks import place_demo_marks
from feedback.management.demo_swum import (
    dive_s,
    entry_phases,
    hands_in_s,
    head_at,
    head_reaches_s,
    length_s,
)
from feedback.models import Mark
from portal.models import AuditEntry
from tests.cast import FPS, Cast

STROKES = ["freestyle", "backstroke", "breaststroke", "butterfly"]


def go_of(stroke: str, duration_s: float = 28.0, lengths: int = 2) -> Go:
    return Go(duration_s, stroke, from_water=stroke == "backstroke", lengths=lengths)


@pytest.mark.parametrize("stroke", STROKES)
def test_the_head_is_where_it_is_said_to_pass(stroke: str) -> None:
    go = go_of(stroke, 42.0, lengths=3)
    for at_m in (10.0, 15.0, 20.0, 35.0, 40.0, 45.0, 60.0, 65.0, 70.0):
        at_s = head_reaches_s(go, at_m)
        assert at_s is not None
        assert head_at(go, at_s) == pytest.approx(at_m, abs=2e-3)
        assert head_at(go, at_s - 0.04) < at_m
    assert head_reaches_s(go, 5.0) is None and head_reaches_s(go, 30.0) is None  # under water


@pytest.mark.parametrize(("stroke", "of_a_cycle"), list(zip(STROKES, (2, 2, 1, 1), strict=True)))
def test_hands_go_in_as_often_as_the_painted_cycle_turns(stroke: str, of_a_cycle: int) -> None:
    """0.9 cycles a second at a usual go, one mark a cycle where both arms move as one."""
    go = go_of(stroke)
    assert len(entry_phases(stroke)) == of_a_cycle
    for number in (1, 2):
        hands, (_begins_s, out_s, ends_s) = hands_in_s(go, number), length_s(go, number)
        assert out_s < hands[0] and hands[-1] < ends_s
        per_s = (len(hands) - 1) / of_a_cycle / (hands[-1] - hands[0])
        assert per_s == pytest.approx(0.9 / go.pace, rel=1e-6)


def test_a_dive_goes_in_with_the_hands_and_ends_with_the_feet() -> None:
    go = go_of("freestyle")
    first_s, last_s = dive_s(go)
    assert go.leave_s < first_s < go.entry_s < last_s < go.breakout_s


def truth_of(cast: Cast, folder: Path, go: Go, seen: dict[str, list[list[float]]]) -> None:
    swim = cast.swims["tomas"]
    told = {
        "number": swim.entry.number,
        "start_at": swim.start_at.isoformat(),
        "duration_s": go.duration_s,
        "stations": [{"station": slug, "in_picture_s": spans} for slug, spans in seen.items()],
    }
    (folder / "truth.json").write_text(json.dumps({"swims": [told]}))


def film_whole(cast: Cast) -> None:
    """Tomas's clips show the whole swim, from its start on."""
    Swim.objects.filter(pk=cast.swims["tomas"].pk).update(start_kind="heard", start_u_ms=2.0)
    ClockFit.objects.update(u_ms=3.0)
    for clip in cast.clips["tomas"][:2]:
        fit = clip.recording.clock_fit
        start_s = (cast.swims["tomas"].start_at - fit.zero_at).total_seconds()
        clip.first_frame, clip.frame_count, clip.state = round(start_s * FPS), 30 * FPS, "ready"
        clip.in_ticks, clip.out_ticks = clip.first_frame * 3600, (clip.first_frame + 750) * 3600
        clip.save()


def test_a_swim_is_marked_whole_and_quickly(
    cast: Cast, tmp_path: Path, django_assert_max_num_queries: Any
) -> None:
    film_whole(cast)
    entry = cast.swims["tomas"].entry
    entry.stroke, entry.start = "freestyle", "block"
    entry.save()
    go = go_of("freestyle")
    truth_of(cast, tmp_path, go, {"underwater": [[0.0, 30.0]]})
    with django_assert_max_num_queries(25):
        count = place_demo_marks(clinic=cast.clinic, folder=tmp_path, by=cast.coach)
    assert count == Mark.objects.count() > 30
    assert {mark.placed_by for mark in Mark.objects.all()} == {cast.coach}
    assert AuditEntry.objects.filter(action="mark-placed").count() == 1
    assert place_demo_marks(clinic=cast.clinic, folder=tmp_path, by=cast.coach) == 0
    swim = Swim.objects.select_related("entry__clinic__club").get(pk=cast.swims["tomas"].pk)
    told = measured_of(swim, Mark.objects.all())
    assert told.wrong == ()
    cycles = 60 * 0.9 / go.pace
    at_s = {m: head_reaches_s(go, m) or 0.0 for m in (10.0, 20.0)}
    true = {
        ("stroke-rate", 1): cycles,
        ("stroke-rate", 2): cycles,
        ("swimming-speed", 1): 10.0 / (at_s[20.0] - at_s[10.0]),
        ("underwater-distance", 1): head_at(go, go.breakout_s),
        ("underwater-distance", 2): head_at(go, go.turns[0].breakout_s) - 25.0,
        ("split", 1): go.turns[0].feet_touch_s,
        ("split", 2): go.duration_s,
        ("breakout-time", 0): go.breakout_s,
        ("stroke-count", 1): len(hands_in_s(go, 1)),
    }
    for (key, number), value in true.items():
        one = told.get(key, number)
        assert one is not None, key
        assert abs(one.quantity.value - value) <= 1.5 * one.quantity.half_width_95 + 1e-9, key


def test_what_is_in_no_picture_is_not_marked(cast: Cast, tmp_path: Path) -> None:
    """Hands only as far as one station has them without a gap, and nothing after a wall that is
    in no picture."""
    film_whole(cast)
    go = go_of("freestyle")
    truth_of(cast, tmp_path, go, {"underwater": [[0.0, 6.0], [9.0, 10.0], [20.0, 30.0]]})
    place_demo_marks(clinic=cast.clinic, folder=tmp_path, by=cast.coach)
    hands = Mark.objects.filter(kind="hand-entry")
    assert hands.count() == len([at for at in hands_in_s(go, 1) if at <= 6.0])
    wall = Mark.objects.filter(kind__in=["feet-touch-wall", "feet-leave-wall", "hands-touch-wall"])
    assert not wall.exists()
    assert not Mark.objects.filter(distance_m__gt=25.0).exists()
