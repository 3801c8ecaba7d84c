"""Nobody sees who did not agree to be filmed: no clip, no still, and not for a moment.

The cast's recordings run from 20 s before Tomas starts (frame 500 at 25 frames/s), Wren
starts 45.3 s after him, Sol 91 s after him and withdrew. 50 m at 90 s per 100 m is 45 s.
"""

from __future__ import annotations

import datetime as dt

import pytest

from clinics.actions.consent import end_consent, record_consent
from clinics.actions.cut import left_out, plan_cuts
from clinics.actions.dropped import (
    dropped_of,
    drops_of,
    is_dropped,
    may_be_made,
    pictures_open_to,
    plan_dropped,
    reaches_into,
)
from clinics.actions.log import log_start, take_in_log, undo_start
from clinics.actions.render_clips import render
from clinics.compute.dropped import gone_after_s
from clinics.models import (
    Clinic,
    Clip,
    ClipFile,
    ClockFit,
    Consent,
    DroppedSpan,
    Entry,
    Recording,
    StartLogEntry,
    Swim,
)
from portal.models import Job, StoredFile
from tests.cast import FIRST_START, Cast, make_entry

ZERO = FIRST_START - dt.timedelta(seconds=20)  # of the cast's recordings


def no_pulse(*_: object) -> None:
    """A pulse that nobody listens to."""


@pytest.fixture
def clinic(cast: Cast) -> Clinic:
    """Before anything is cut, and without the swimmer who withdrew."""
    ClipFile.objects.all().delete()
    Clip.objects.all().delete()
    cast.swims["sol"].delete()
    return cast.clinic


def at(seconds: float) -> dt.datetime:
    """Clinic time, seconds after Tomas's start."""
    return FIRST_START + dt.timedelta(seconds=seconds)


def not_filmed(clinic: Clinic, seconds: float, *, name: str = "Ida Renn") -> StartLogEntry:
    entry = Entry.objects.filter(clinic=clinic, swimmer__name=name).first()
    if entry is None:
        number = clinic.entries.count() + 1
        entry = make_entry(clinic, name, number, None, f"{name.split()[0].lower()}@example.org")
        entry.swimmer.consents.all().delete()
    return log_start(
        clinic=clinic,
        client_id=f"line-{seconds}",
        entry=entry,
        instant=at(seconds),
        outcome="not-filmed",
        by=None,
    )


def spans_s(recording: Recording) -> list[tuple[float, float]]:
    """Dropped spans in seconds after Tomas's start."""
    return [(a / 90_000 - 20, b / 90_000 - 20) for a, b in dropped_of(recording)]


# --- how long somebody is in picture ---------------------------------------------------------


def test_worst_case_is_a_slow_swimmer_and_the_next_start_ends_it() -> None:
    swim = {"distance_m": 75.0, "pace_s_per_100m": 120.0}  # expected back after 90 s
    assert gone_after_s(**swim, next_start_s=None) == 3 * 90 + 60
    assert gone_after_s(**swim, next_start_s=150.0) == 147.0
    assert gone_after_s(**swim, next_start_s=1200.0) == 330.0
    assert gone_after_s(**swim, next_start_s=91.0) == 90.0  # never less than expected
    early = gone_after_s(**swim, next_start_s=30.0)  # both swim at once
    assert early == pytest.approx(90 * 1.15 + 15)


def test_line_that_says_not_filmed_drops_every_recording(cast: Cast, clinic: Clinic) -> None:
    not_filmed(clinic, 110.0)
    assert DroppedSpan.objects.count() == 2
    for recording in cast.recordings.values():
        if recording.station.clinic_id != clinic.pk:
            continue
        [(from_s, to_s)] = spans_s(recording)
        # ten seconds before the start to three times the expected 45 s and a minute, each
        # with three times the clock's 12 ms
        assert from_s == pytest.approx(100.0 - 0.036, abs=0.001)
        assert to_s == pytest.approx(110 + 135 + 60 + 0.036, abs=0.001)
        assert is_dropped(recording.pk, round((115 + 20) * 90_000))
        assert not is_dropped(recording.pk, round((95 + 20) * 90_000))


def test_next_start_frees_the_lane(cast: Cast, clinic: Clinic) -> None:
    Swim.objects.filter(pk=cast.swims["wren"].pk).update(start_at=at(160))
    not_filmed(clinic, 100.0)
    [(from_s, to_s)] = spans_s(cast.recordings["underwater"])
    assert to_s == pytest.approx(157.036, abs=0.001)


def test_unsure_clock_drops_more(cast: Cast, clinic: Clinic) -> None:
    not_filmed(clinic, 110.0)
    ClockFit.objects.filter(recording=cast.recordings["underwater"]).update(
        u_ms=1000.0, state="look", method="passing"
    )
    [(from_s, to_s)] = spans_s(cast.recordings["underwater"])[:1]
    assert from_s == pytest.approx(97.0, abs=0.001)


def test_no_show_and_undone_lines_drop_nothing(cast: Cast, clinic: Clinic) -> None:
    line = not_filmed(clinic, 110.0)
    undo_start(clinic=clinic, client_id=line.client_id, by=None)
    assert drops_of(clinic) == []
    assert DroppedSpan.objects.count() == 0
    log_start(
        clinic=clinic,
        client_id="absent",
        entry=line.entry,
        instant=at(110),
        outcome="no-show",
        by=None,
    )
    assert drops_of(clinic) == []


def test_start_log_of_a_file_drops_at_once(cast: Cast, clinic: Clinic) -> None:
    number = not_filmed(clinic, 110.0).entry.number
    before = DroppedSpan.objects.count()
    take_in_log(
        clinic=clinic,
        text=f"instant,swimmer,outcome,note\n{at(200).isoformat()},{number},not-filmed,\n",
        by=None,
    )
    assert DroppedSpan.objects.count() == before + 2


# --- clips -------------------------------------------------------------------------------------


def test_clips_of_others_are_cut_around_it(cast: Cast, clinic: Clinic) -> None:
    plan_cuts(clinic=clinic)
    wren = Clip.objects.filter(swim=cast.swims["wren"], station=cast.underwater)
    before = {clip.pass_no: (clip.in_ticks, clip.out_ticks) for clip in wren}
    not_filmed(clinic, 45.3 + 44.0)  # 10 s before: in the second pass's window, not its span
    plan_cuts(clinic=clinic)
    after = {clip.pass_no: clip for clip in wren.all()}
    assert (after[1].in_ticks, after[1].out_ticks) == before[1]
    span = dropped_of(cast.recordings["underwater"])[0]
    assert before[2][1] > span[0] > after[2].out_ticks
    assert after[2].in_ticks == before[2][0]
    assert span[0] - after[2].out_ticks == pytest.approx(9_000, abs=5)  # a tenth of a second
    assert not reaches_into(after[2], dropped_of(cast.recordings["underwater"]))
    frames = after[2].recording.frame_count
    assert after[2].first_frame + after[2].frame_count < frames


def test_pass_that_lies_in_it_is_not_cut_and_it_is_said_why(cast: Cast, clinic: Clinic) -> None:
    not_filmed(clinic, 45.3 + 5.0)  # sent five seconds after Wren: both are in picture
    plan_cuts(clinic=clinic)
    made = Clip.objects.filter(swim=cast.swims["wren"])
    assert {clip.station.slug for clip in made} == set()
    why = {
        (one.station.slug, one.pass_no): one.why
        for one in left_out(clinic)
        if one.swim == cast.swims["wren"]
    }
    assert why[("underwater", 1)] == why[("underwater", 2)] == "dropped"


def test_made_clip_that_reaches_into_it_loses_its_files_at_once(
    cast: Cast, clinic: Clinic, django_capture_on_commit_callbacks: object
) -> None:
    plan_cuts(clinic=clinic)
    clip = Clip.objects.get(swim=cast.swims["wren"], station=cast.underwater, pass_no=2)
    other = Clip.objects.get(swim=cast.swims["tomas"], station=cast.start_side)
    for one in (clip, other):
        give_file(one)
    stored = clip.files.get().stored
    assert stored.local_path().exists()
    with django_capture_on_commit_callbacks(execute=True):
        not_filmed(clinic, 45.3 + 44.0)
    clip.refresh_from_db()
    assert (clip.state, clip.files.count()) == ("waiting", 0)
    assert not stored.local_path().exists()
    other.refresh_from_db()
    assert (other.state, other.files.count()) == ("ready", 1)
    plan_cuts(clinic=clinic)
    job = Job.objects.get(kind="render-clip", subject_id=clip.pk, state="waiting")
    assert job.priority >= 1000
    clip.refresh_from_db()
    assert may_be_made(clip)


def give_file(clip: Clip) -> None:
    from tests.cast import make_still, make_stored

    stored = make_stored(
        clip.recording.station.clinic.club, make_still((0, 90, 90)), kind="poster", suffix=".jpg"
    )
    ClipFile.objects.create(clip=clip, kind="poster", height=180, width=320, stored=stored)
    Clip.objects.filter(pk=clip.pk).update(state="ready", rendered_at=FIRST_START)


def test_clip_that_a_person_placed_is_cut_around_it_too(cast: Cast, clinic: Clinic) -> None:
    plan_cuts(clinic=clinic)
    placed = Clip.objects.get(swim=cast.swims["wren"], station=cast.underwater, pass_no=2)
    inside = Clip.objects.get(swim=cast.swims["wren"], station=cast.underwater, pass_no=1)
    common = {"window_by": "person", "seen_by": "person", "state": "ready"}
    Clip.objects.filter(pk=placed.pk).update(
        in_ticks=80 * 90_000, out_ticks=200 * 90_000, first_frame=2000, frame_count=3000, **common
    )
    Clip.objects.filter(pk=inside.pk).update(
        in_ticks=130 * 90_000, out_ticks=150 * 90_000, first_frame=3250, frame_count=500, **common
    )
    not_filmed(clinic, 110.0)  # dropped from 119.964 s of the recording
    plan_cuts(clinic=clinic)
    placed.refresh_from_db()
    assert (placed.first_frame, placed.frame_count, placed.state) == (2000, 1000, "waiting")
    assert placed.missing_by == "dropped"
    assert not Clip.objects.filter(pk=inside.pk).exists()


def test_clip_that_waits_is_not_made_once_it_reaches_into_it(cast: Cast, clinic: Clinic) -> None:
    plan_cuts(clinic=clinic)
    clip = Clip.objects.get(swim=cast.swims["wren"], station=cast.underwater, pass_no=2)
    not_filmed(clinic, 45.3 + 44.0)
    assert not may_be_made(clip)
    render(clip, no_pulse)  # by a worker that had taken the job already; would fail on the file
    clip.refresh_from_db()
    assert (clip.state, clip.files.count()) == ("waiting", 0)


def test_a_hair_of_a_better_fit_makes_nothing_again(cast: Cast, clinic: Clinic) -> None:
    not_filmed(clinic, 45.3 + 44.0)
    plan_cuts(clinic=clinic)
    Clip.objects.update(state="ready")
    fit = ClockFit.objects.get(recording=cast.recordings["underwater"])
    fit.zero_at += dt.timedelta(milliseconds=30)
    fit.save()
    plan = plan_cuts(clinic=clinic)
    assert (plan.moved, plan.added, plan.removed, plan.waiting) == (0, 0, 0, 0)


# --- the fit moves -----------------------------------------------------------------------------


def test_spans_follow_the_fit_before_anybody_plans_anew(cast: Cast, clinic: Clinic) -> None:
    recording = cast.recordings["underwater"]
    not_filmed(clinic, 110.0)
    early, late = round(99.5 * 90_000), round(119.9 * 90_000)
    assert not is_dropped(recording.pk, early)
    ClockFit.objects.filter(recording=recording).update(zero_at=ZERO + dt.timedelta(seconds=20.5))
    assert is_dropped(recording.pk, early)  # as it follows from the fit just now
    assert is_dropped(recording.pk, round(200 * 90_000))  # and as it was kept
    plan_dropped(clinic=clinic)
    [(from_s, _to_s)] = spans_s(recording)
    assert from_s == pytest.approx(100 - 20.5 - 0.036, abs=0.001)
    assert is_dropped(recording.pk, late)


def test_planning_twice_keeps_the_same_rows(cast: Cast, clinic: Clinic) -> None:
    not_filmed(clinic, 110.0)
    before = list(DroppedSpan.objects.values())
    assert plan_dropped(clinic=clinic) == 2
    assert list(DroppedSpan.objects.values()) == before


def test_clock_that_is_lost_keeps_what_was_dropped(cast: Cast, clinic: Clinic) -> None:
    recording = cast.recordings["underwater"]
    not_filmed(clinic, 110.0)
    ClockFit.objects.filter(recording=recording).update(state="not-found", zero_at=None, u_ms=None)
    plan_dropped(clinic=clinic)
    assert is_dropped(recording.pk, round(135 * 90_000))


@pytest.mark.parametrize(
    "fit",
    [
        {"state": "not-found", "zero_at": None, "u_ms": None},
        {"state": "look", "method": "file date", "u_ms": 1500.0},
    ],
)
def test_without_a_clock_only_checkers_see_pictures(
    cast: Cast, clinic: Clinic, fit: dict[str, object]
) -> None:
    recording = cast.recordings["underwater"]
    assert pictures_open_to(recording, cast.crew)
    not_filmed(clinic, 110.0)
    assert pictures_open_to(recording, cast.crew)  # the clock says which pictures are dropped
    ClockFit.objects.filter(recording=recording).update(**fit)
    assert not pictures_open_to(recording, cast.crew)
    assert pictures_open_to(recording, cast.checker)  # who must find a start in it
    DroppedSpan.objects.all().delete()
    StartLogEntry.objects.filter(outcome="not-filmed").delete()
    assert pictures_open_to(recording, cast.crew)  # nobody is to be left out


# --- consent -----------------------------------------------------------------------------------


def test_who_never_agreed_is_dropped_even_if_logged_away(cast: Cast, clinic: Clinic) -> None:
    Consent.objects.filter(swimmer__user=cast.wren).delete()
    plan_cuts(clinic=clinic)
    assert not Clip.objects.filter(swim=cast.swims["wren"]).exists()
    [(from_s, _)] = spans_s(cast.recordings["underwater"])
    start_s = (cast.swims["wren"].start_at - FIRST_START).total_seconds()
    assert from_s == pytest.approx(start_s - 10 - 0.036, abs=0.001)
    record_consent(
        swimmer=cast.swims["wren"].entry.swimmer, purpose="film-and-review", by=cast.admin
    )
    plan_cuts(clinic=clinic)
    assert spans_s(cast.recordings["underwater"]) == []
    assert Clip.objects.filter(swim=cast.swims["wren"]).count() == 3


def test_who_agrees_no_longer_is_on_no_picture_and_keeps_their_clips(
    cast: Cast, clinic: Clinic
) -> None:
    plan_cuts(clinic=clinic)
    for clip in Clip.objects.all():
        give_file(clip)
    end_consent(swimmer=cast.swims["wren"].entry.swimmer, purpose="film-and-review", by=cast.wren)
    recording = cast.recordings["underwater"]
    assert is_dropped(recording.pk, round((20 + 45.3 + 5) * 90_000))
    plan = plan_cuts(clinic=clinic)
    assert (plan.added, plan.moved, plan.removed) == (0, 0, 0)
    assert Clip.objects.filter(state="ready", files__isnull=False).count() == 6
    assert StoredFile.objects.filter(kind="poster", state="deleted").count() == 0


def test_swim_that_turned_out_to_be_of_another_follows_who_it_is(
    cast: Cast, clinic: Clinic
) -> None:
    """The line in the log names Wren, the swim is Ida's by now, who never agreed."""
    line = not_filmed(clinic, 500.0)
    log = StartLogEntry.objects.create(
        clinic=clinic,
        client_id="wren",
        entry=cast.swims["wren"].entry,
        instant=cast.swims["wren"].start_at,
    )
    Swim.objects.filter(pk=cast.swims["wren"].pk).update(log_entry=log, entry=line.entry)
    assert [drop.line_id for drop in drops_of(clinic)] == [log.pk, line.pk]
