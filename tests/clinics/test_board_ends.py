"""The ends of a clip, moved by a person: to the frame, within what may be shown, for good."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied

from clinics.actions import board
from clinics.actions.cut import plan_cuts
from clinics.actions.index import frames_of
from clinics.models import BoardAct, Clip, ClockFit, StartLogEntry, Swim
from portal.models import AuditEntry, Job
from tests.cast import FPS, Cast, make_recording
from tests.clinics.board_tools import fresh, fresh_clip

TICKS = 90_000 // FPS
NOT_CHECKERS = ["coach", "crew", "admin", "tomas", "other_admin", "other_coach"]


@pytest.fixture
def clip(cast: Cast) -> Clip:
    return fresh_clip(cast.clips["tomas"][1])


def ends(clip: Clip) -> tuple[int, int]:
    row = Clip.objects.get(pk=clip.pk)
    return row.first_frame, row.first_frame + row.frame_count - 1


@pytest.mark.parametrize("frames", [-10, 1])
def test_nudging_moves_both_ends_to_the_frame_and_renders_only_this(
    cast: Cast, clip: Clip, frames: int
) -> None:
    before = ends(clip)
    act = board.nudge(clip=clip, frames=frames, by=cast.checker)
    row = Clip.objects.get(pk=clip.pk)
    assert ends(row) == (before[0] + frames, before[1] + frames)
    table = frames_of(clip.recording)
    assert (row.in_ticks, row.out_ticks) == (table[row.first_frame], table[ends(row)[1] + 1])
    assert (row.window_by, row.seen_by, row.state) == ("person", "person", "waiting")
    assert row.seen_from_s - clip.seen_from_s == pytest.approx(frames / FPS, abs=1e-3)
    jobs = Job.objects.filter(kind="render-clip")
    assert [job.subject_id for job in jobs] == [clip.pk]
    assert act.kind == BoardAct.Kind.NUDGE and act.by == cast.checker
    assert AuditEntry.objects.filter(action="board.nudge").count() == 1


def test_a_placed_clip_is_left_alone_by_the_planner_however_the_fit_moves(
    cast: Cast, clip: Clip
) -> None:
    board.nudge(clip=clip, frames=3, by=cast.checker)
    placed = ends(clip)
    fit = ClockFit.objects.get(recording=clip.recording)
    fit.zero_at += dt.timedelta(seconds=0.7)
    fit.save()
    plan_cuts(clinic=cast.clinic)
    assert ends(clip) == placed


def test_ends_are_set_frame_by_frame_and_the_span_in_picture_stays_within(
    cast: Cast, clip: Clip
) -> None:
    first, last = ends(clip)
    board.set_ends(clip=clip, first_frame=first + 30, last_frame=last + 40, by=cast.checker)
    row = Clip.objects.get(pk=clip.pk)
    assert ends(row) == (first + 30, last + 40) and row.window_by == "person"
    begin_s = clip.seen_from_s + 30 / FPS  # the cast's clip is seen from its first frame
    assert row.seen_from_s == pytest.approx(begin_s, abs=2e-3)
    assert row.seen_to_s == pytest.approx(clip.seen_to_s, abs=2e-3)


def test_the_last_frame_of_a_recording_can_be_the_end(cast: Cast, clip: Clip) -> None:
    board.set_ends(clip=clip, first_frame=5900, last_frame=5999, by=cast.checker)
    row = Clip.objects.get(pk=clip.pk)
    assert (row.in_ticks, row.out_ticks) == (5900 * TICKS, 6000 * TICKS)


def refused(act: Any, match: str) -> None:
    acts = BoardAct.objects.count()
    with pytest.raises(board.CheckRefused, match=match):
        act()
    assert BoardAct.objects.count() == acts


def test_what_cannot_be_is_refused_with_a_sentence(cast: Cast, clip: Clip) -> None:
    first, last = before = ends(clip)

    def set_to(a: int, b: int) -> Any:
        return lambda: board.set_ends(clip=clip, first_frame=a, last_frame=b, by=cast.checker)

    refused(set_to(last, first), "last frame comes before the first")
    refused(set_to(-1, last), "6000 frames, 0 to 5999")
    refused(set_to(first, 6000), "6000 frames, 0 to 5999")
    refused(set_to(first, last), "these ends already")
    refused(lambda: board.nudge(clip=clip, frames=0, by=cast.checker), "how many frames")
    refused(lambda: board.nudge(clip=clip, frames=-first - 1, by=cast.checker), "choose within")
    assert ends(clip) == before and Job.objects.filter(kind="render-clip").count() == 0


def test_no_clip_reaches_into_a_span_that_nobody_sees(cast: Cast, clip: Clip) -> None:
    """Somebody who has not agreed starts 15 s after this clip's last frame."""
    first, last = ends(clip)
    ends_at = clip.recording.clock_fit.zero_at + dt.timedelta(seconds=(last + 1) / FPS)
    StartLogEntry.objects.create(
        clinic=cast.clinic,
        client_id="x",
        entry=None,
        instant=ends_at + dt.timedelta(seconds=15),
        outcome="not-filmed",
    )
    refused(
        lambda: board.nudge(clip=clip, frames=14 * FPS, by=cast.checker),
        "has not agreed to be filmed",
    )
    board.nudge(clip=clip, frames=2, by=cast.checker)
    assert ends(clip) == (first + 2, last + 2)


def test_only_a_checker_of_the_clinic_places_clips(cast: Cast, clip: Clip) -> None:
    before = ends(clip)
    for who in NOT_CHECKERS:
        by = getattr(cast, who)
        for act in (
            lambda by=by: board.nudge(clip=clip, frames=1, by=by),
            lambda by=by: board.set_ends(clip=clip, first_frame=0, last_frame=9, by=by),
            lambda by=by: board.cut_by_hand(
                swim=clip.swim, recording=clip.recording, first_frame=0, last_frame=9, by=by
            ),
        ):
            with pytest.raises(PermissionDenied):
                act()
    assert ends(clip) == before and not BoardAct.objects.exists()


def test_nobody_places_clips_of_somebody_who_withdrew(cast: Cast) -> None:
    with pytest.raises(PermissionDenied):
        board.nudge(clip=fresh_clip(cast.clips["sol"][0]), frames=1, by=cast.checker)


def test_a_closed_clinic_stays_as_it_is(cast: Cast, clip: Clip) -> None:
    cast.clinic.state = "closed"
    cast.clinic.closed_at = cast.clinic.created_at
    cast.clinic.save()
    refused(lambda: board.nudge(clip=clip, frames=1, by=cast.checker), "clinic is closed")


def test_the_second_of_two_checkers_is_told(cast: Cast, clip: Clip) -> None:
    stale = fresh_clip(clip)
    board.nudge(clip=clip, frames=1, by=cast.checker)
    refused(lambda: board.nudge(clip=stale, frames=1, by=cast.checker), "moved meanwhile")


# --- cut by hand --------------------------------------------------------------------------


def test_a_clip_by_hand_where_there_is_none(cast: Cast) -> None:
    swim, recording = fresh(cast.swims["tomas"]), cast.recordings["underwater"]
    Clip.objects.filter(swim=swim, station=cast.underwater, pass_no=1).delete()
    act = board.cut_by_hand(
        swim=swim, recording=recording, first_frame=700, last_frame=799, by=cast.checker
    )
    clip = Clip.objects.get(pk=act.facts["clip"])
    assert (clip.pass_no, ends(clip), clip.window_by) == (1, (700, 799), "person")
    # frame 700 is at 28 s of the recording, which began 20 s before the start
    assert (clip.seen_from_s, clip.seen_to_s) == (pytest.approx(8.0), pytest.approx(12.0))
    assert clip.delete_by is not None and clip.time_state == "sure"
    assert Job.objects.filter(kind="render-clip", subject_id=clip.pk).exists()


def test_clips_that_went_by_the_clubs_rules_are_not_made_again_by_hand(cast: Cast) -> None:
    swim, recording = cast.swims["tomas"], cast.recordings["underwater"]
    Clip.objects.filter(swim=swim).delete()
    Swim.objects.filter(pk=swim.pk).update(clips_gone_at=cast.clinic.created_at)
    span = {"first_frame": 700, "last_frame": 799, "by": cast.checker}
    refused(
        lambda: board.cut_by_hand(swim=fresh(swim), recording=recording, **span),
        "as the club's rules say",
    )
    assert not Clip.objects.filter(swim=swim).exists()


def test_a_pass_by_hand_takes_the_place_of_the_clip_that_it_had(cast: Cast) -> None:
    swim = fresh(cast.swims["tomas"])
    other = make_recording(
        cast.underwater, cast.crew, zero_at=swim.start_at - dt.timedelta(seconds=5), frames=500
    )
    old = cast.clips["tomas"][2]
    act = board.cut_by_hand(
        swim=swim, recording=other, first_frame=10, last_frame=59, pass_no=2, by=cast.checker
    )
    assert act.facts["clip"] == str(old.pk)
    assert Clip.objects.get(pk=old.pk).recording == other
    assert Clip.objects.filter(swim=swim, station=cast.underwater).count() == 2


def test_a_clip_by_hand_from_a_recording_without_a_clock(cast: Cast) -> None:
    recording = cast.recordings["underwater"]
    ClockFit.objects.filter(recording=recording).update(state="not-found", zero_at=None, u_ms=None)
    swim = fresh(cast.swims["wren"])
    act = board.cut_by_hand(
        swim=swim, recording=recording, first_frame=100, last_frame=199, pass_no=3, by=cast.checker
    )
    clip = Clip.objects.get(pk=act.facts["clip"])
    assert (clip.time_state, clip.seen_from_s, clip.seen_to_s) == ("not-found", 0.0, 4.0)


def test_recordings_of_another_clinic_are_refused(cast: Cast) -> None:
    with pytest.raises(PermissionDenied):
        board.cut_by_hand(
            swim=fresh(cast.swims["tomas"]),
            recording=cast.recordings["other"],
            first_frame=0,
            last_frame=9,
            by=cast.checker,
        )
    assert Swim.objects.get(pk=cast.swims["tomas"].pk).clips.count() == 3
