"""Cutting again after a better fit, after motion was seen, and around what people placed.

The cast's recordings run from 20 s before Tomas starts, at 25 frames/s. Tomas swims 50 m at
90 s per 100 m: at the underwater station (12.5 m) from 8.55 to 13.95 s and 31.05 to 36.45 s.
"""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import numpy as np
import pytest
from django.conf import settings

from clinics.actions.cut import left_out, plan_cuts
from clinics.actions.index import frames_of
from clinics.actions.ties import place_tie
from clinics.compute.time import clinic_instant, swim_s, ticks_to_media_s
from clinics.media.motion import COLUMNS, MotionProfile, load_motion, save_motion
from clinics.models import Clinic, Clip, ClipFile, ClockFit, Recording, Tie
from feedback.actions.frames import frame_at
from feedback.models import Comment
from portal.models import Job
from tests.cast import FIRST_START, Cast, make_recording, make_stored

KEY_FRAMES_S = 0.5


@pytest.fixture
def clinic(cast: Cast) -> Clinic:
    """The cast's clinic before anything is cut."""
    ClipFile.objects.all().delete()
    Clip.objects.all().delete()
    cast.swims["sol"].delete()
    return cast.clinic


def shift(recording: Recording, seconds: float) -> None:
    """A better fit: the recording began that much later than was thought."""
    fit = ClockFit.objects.get(recording=recording)
    fit.zero_at += dt.timedelta(seconds=seconds)
    fit.save()


def swimmer_in_picture(recording: Recording, from_media_s: float, to_media_s: float) -> None:
    """A motion profile in which one swimmer passes and nothing else moves."""
    frames = np.arange(0, recording.frame_count, round(KEY_FRAMES_S * 25), dtype=np.int64)
    energy = np.random.default_rng(3).uniform(0, 0.004, (len(frames), COLUMNS))
    at_s = frames / 25
    inside = np.flatnonzero((at_s >= from_media_s) & (at_s <= to_media_s))
    for place, row in enumerate(inside):
        column = round(place / max(len(inside) - 1, 1) * (COLUMNS - 1))
        energy[row, max(column - 1, 0) : column + 2] = 0.3
    path = Path(settings.WORK_DIR) / "motion.npz"
    save_motion(path, MotionProfile(frames, frames * 3600, energy.astype(np.float32)))
    recording.motion = make_stored(
        recording.station.clinic.club, path.read_bytes(), kind="motion", suffix=".npz"
    )
    recording.save(update_fields=["motion"])
    path.unlink()


def first_pass(cast: Cast) -> Clip:
    return Clip.objects.get(swim=cast.swims["tomas"], station=cast.underwater, pass_no=1)


# --- motion ------------------------------------------------------------------------------------


def test_clear_motion_sets_window_and_span_in_picture(cast: Cast, clinic: Clinic) -> None:
    plan_cuts(clinic=clinic)
    wide = first_pass(cast)
    assert (wide.window_by, wide.seen_by) == ("pace", "pace")
    swimmer_in_picture(cast.recordings["underwater"], 20 + 9.5, 20 + 14.0)
    plan = plan_cuts(clinic=clinic)
    clip = first_pass(cast)
    assert (clip.window_by, clip.seen_by) == ("motion", "motion")
    # to the distance of the key frames on each side, and two seconds of room
    assert clip.seen_from_s == pytest.approx(9.25, abs=0.75)
    assert clip.seen_to_s == pytest.approx(14.25, abs=0.75)
    assert clip.in_ticks / 90_000 == pytest.approx(20 + clip.seen_from_s - 2, abs=0.01)
    assert clip.out_ticks / 90_000 == pytest.approx(20 + clip.seen_to_s + 2, abs=0.01)
    assert wide.in_ticks < clip.in_ticks and clip.out_ticks < wide.out_ticks
    assert plan.moved == 1  # nothing else had anything moving in it


def test_clip_that_is_made_is_not_made_again_for_a_narrower_window(
    cast: Cast, clinic: Clinic
) -> None:
    plan_cuts(clinic=clinic)
    Clip.objects.update(state="ready")
    before = first_pass(cast)
    swimmer_in_picture(cast.recordings["underwater"], 20 + 9.5, 20 + 14.0)
    plan = plan_cuts(clinic=clinic)
    assert (plan.moved, plan.waiting) == (0, 0)
    clip = first_pass(cast)
    assert (clip.in_ticks, clip.out_ticks) == (before.in_ticks, before.out_ticks)
    assert (clip.window_by, clip.seen_by) == ("pace", "motion")  # told all the same
    assert clip.seen_from_s == pytest.approx(9.25, abs=0.75)
    assert plan_cuts(clinic=clinic).unchanged == 6


def test_two_in_picture_are_not_clear(cast: Cast, clinic: Clinic) -> None:
    plan_cuts(clinic=clinic)
    before = first_pass(cast)
    recording = cast.recordings["underwater"]
    swimmer_in_picture(recording, 20 + 6.0, 20 + 18.0)
    profile_path = recording.motion.local_path()
    profile = load_motion(profile_path)
    quiet = (profile.frames / 25 > 20 + 9.6) & (profile.frames / 25 < 20 + 13.0)
    profile.energy[quiet] = 0.001
    save_motion(profile_path, profile)
    plan_cuts(clinic=clinic)
    assert first_pass(cast).in_ticks == before.in_ticks


# --- a better fit ------------------------------------------------------------------------------


def test_comments_ties_and_placed_clips_stay_on_their_frames(cast: Cast, clinic: Clinic) -> None:
    recording = cast.recordings["underwater"]
    plan_cuts(clinic=clinic)
    placed = Clip.objects.get(swim=cast.swims["wren"], station=cast.underwater, pass_no=1)
    Clip.objects.filter(pk=placed.pk).update(window_by="person", seen_by="person")
    Clip.objects.update(state="ready")
    placed.refresh_from_db()
    frame_ticks = int(frames_of(recording)[placed.first_frame + 100])
    comment = Comment.objects.create(
        swim=cast.swims["wren"],
        author=cast.coach,
        text="Hold the glide.",
        recording=recording,
        pts_ticks=frame_ticks,
        sent_at=FIRST_START,
    )
    tie = place_tie(
        recording=recording,
        pts_ticks=500 * 3600,
        swim=cast.swims["tomas"],
        kind="start-seen",
        by=cast.crew,
    )
    own = (placed.in_ticks, placed.out_ticks, placed.first_frame, placed.frame_count)
    others = {c.pk: c.in_ticks for c in Clip.objects.filter(recording=recording, window_by="pace")}
    Job.objects.all().delete()
    shift(recording, -0.3)
    plan = plan_cuts(clinic=clinic)
    assert (plan.moved, plan.unchanged) == (3, 3)  # the start side and the placed one stay
    placed.refresh_from_db()
    assert (placed.in_ticks, placed.out_ticks, placed.first_frame, placed.frame_count) == own
    assert (placed.state, placed.window_by, placed.seen_by) == ("ready", "person", "person")
    comment.refresh_from_db()
    assert comment.pts_ticks == frame_ticks
    assert frame_at(placed, comment.pts_ticks) == 100
    assert Tie.objects.get(pk=tie.pk).pts_ticks == 500 * 3600
    for pk, in_ticks in others.items():
        assert Clip.objects.get(pk=pk).in_ticks - in_ticks == pytest.approx(27_000, abs=1)
    asked = Job.objects.filter(kind="render-clip").values_list("subject_id", flat=True)
    assert set(asked) == set(others)


def test_span_that_a_person_placed_stays_within_its_clip(cast: Cast, clinic: Clinic) -> None:
    """Placed when no clock was known: once it is, the span is told in the swim's time."""
    recording = cast.recordings["underwater"]
    plan_cuts(clinic=clinic)
    clip = first_pass(cast)
    Clip.objects.filter(pk=clip.pk).update(
        window_by="person",
        seen_by="person",
        seen_from_s=500.0,
        seen_to_s=503.0,
        time_state="not-found",
    )
    plan_cuts(clinic=clinic)
    clip.refresh_from_db()
    fit = ClockFit.objects.get(recording=recording)
    begin_s, end_s = (
        swim_s(
            clip.swim.start_at, clinic_instant(fit.zero_at, fit.rate_ppm, ticks_to_media_s(ticks))
        )
        for ticks in (clip.in_ticks, clip.out_ticks)
    )
    assert (clip.seen_from_s, clip.seen_to_s) == pytest.approx((begin_s, end_s), abs=0.001)
    assert clip.time_state == "sure"


def test_person_who_cut_from_another_recording_is_not_given_a_second_clip(
    cast: Cast, clinic: Clinic
) -> None:
    plan_cuts(clinic=clinic)
    planned = first_pass(cast)
    other = make_recording(
        cast.underwater, cast.crew, zero_at=FIRST_START - dt.timedelta(seconds=1), frames=1000
    )
    placed = Clip.objects.create(
        swim=cast.swims["tomas"],
        station=cast.underwater,
        pass_no=1,
        recording=other,
        in_ticks=9 * 90_000,
        out_ticks=15 * 90_000,
        first_frame=225,
        frame_count=150,
        seen_from_s=8.0,
        seen_to_s=14.0,
        window_by="person",
        seen_by="person",
        time_state="sure",
    )
    plan_cuts(clinic=clinic)
    assert not Clip.objects.filter(pk=planned.pk).exists()
    assert first_pass(cast) == placed


# --- what was not filmed -----------------------------------------------------------------------


def test_camera_that_stopped_within_a_pass_gives_what_it_has_and_says_so(
    cast: Cast, clinic: Clinic
) -> None:
    """It stopped at 10.05 s and began again at 11.05 s: the second recording has more of it."""
    recording = cast.recordings["underwater"]
    Recording.objects.filter(pk=recording.pk).update(duration_s=30.05)
    second = make_recording(
        cast.underwater, cast.crew, zero_at=FIRST_START + dt.timedelta(seconds=11.05), frames=3000
    )
    plan_cuts(clinic=clinic)
    clip = first_pass(cast)
    assert clip.recording_id == second.pk
    assert clip.in_ticks == 0
    assert clip.missing_before_s == pytest.approx(11.05 - 8.55, abs=0.001)
    assert (clip.missing_after_s, clip.missing_by) == (0.0, "recording")
    other = Clip.objects.get(swim=cast.swims["tomas"], station=cast.underwater, pass_no=2)
    assert (other.missing_s, other.missing_by) == (0.0, "")


def test_pass_without_a_clip_says_why(cast: Cast, clinic: Clinic) -> None:
    recording = cast.recordings["underwater"]
    Recording.objects.filter(pk=recording.pk).update(duration_s=30.05)
    plan_cuts(clinic=clinic)
    why = {(str(one.swim.entry.swimmer), one.pass_no): one.why for one in left_out(clinic)}
    assert why == {
        ("Tomas Birk", 2): "not-recorded",
        ("Wren Okada", 1): "not-recorded",
        ("Wren Okada", 2): "not-recorded",
    }
    ClockFit.objects.filter(recording=recording).update(state="not-found", zero_at=None, u_ms=None)
    plan_cuts(clinic=clinic)
    assert {one.why for one in left_out(clinic)} == {"no-clock"}
    ClockFit.objects.filter(recording=recording).update(
        state="look", zero_at=FIRST_START, u_ms=1500.0, method="file date"
    )
    plan_cuts(clinic=clinic)
    assert {one.why for one in left_out(clinic)} == {"only-file-date"}
