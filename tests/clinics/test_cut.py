"""Cutting: which clips there should be, of whom, from which recording, and how urgent each is."""

from __future__ import annotations

import datetime as dt
import io
import json

import pytest
from django.core.management import call_command

from clinics.actions.clip_files import open_now
from clinics.actions.consent import record_consent
from clinics.actions.cut import plan_cuts
from clinics.actions.errors import BadInput
from clinics.actions.index import frames_of
from clinics.actions.render_clips import render
from clinics.actions.ties import place_tie
from clinics.compute.time import clinic_instant, swim_s, ticks_to_media_s
from clinics.models import (
    Clinic,
    Clip,
    ClipFile,
    ClockFit,
    Consent,
    Recording,
    Station,
)
from portal.actions.job_worker import drain
from portal.models import AuditEntry, Job
from tests.cast import FIRST_START, Cast, make_recording


@pytest.fixture
def clinic(cast: Cast) -> Clinic:
    """The cast's clinic before anything is cut."""
    ClipFile.objects.all().delete()
    Clip.objects.all().delete()
    return cast.clinic


def clips(**about: object) -> list[tuple[str, str, int]]:
    rows = Clip.objects.filter(**about).order_by("swim__start_at", "station__order", "pass_no")
    return [(str(c.swim.entry.swimmer), c.station.slug, c.pass_no) for c in rows]


def test_each_pass_of_each_agreed_swim_gets_one_clip(cast: Cast, clinic: Clinic) -> None:
    plan = plan_cuts(clinic=clinic, by=cast.admin)
    # 50 m in a 25 m pool: one start, two passes in the middle; Sol withdrew
    assert clips() == [
        ("Tomas Birk", "start-side", 1),
        ("Tomas Birk", "underwater", 1),
        ("Tomas Birk", "underwater", 2),
        ("Wren Okada", "start-side", 1),
        ("Wren Okada", "underwater", 1),
        ("Wren Okada", "underwater", 2),
    ]
    assert (plan.added, plan.moved, plan.removed, plan.waiting) == (6, 0, 0, 6)
    assert AuditEntry.objects.filter(action="cuts.planned").count() == 1


def test_frames_of_a_clip_are_those_within_its_window(cast: Cast, clinic: Clinic) -> None:
    plan_cuts(clinic=clinic)
    for clip in Clip.objects.select_related("recording__clock_fit", "swim"):
        frames = frames_of(clip.recording)
        last = clip.first_frame + clip.frame_count - 1
        assert clip.in_ticks <= frames[clip.first_frame] and frames[last] < clip.out_ticks
        assert clip.first_frame == 0 or frames[clip.first_frame - 1] < clip.in_ticks
        assert last + 1 == len(frames) or frames[last + 1] >= clip.out_ticks
        fit = clip.recording.clock_fit
        at = clinic_instant(fit.zero_at, fit.rate_ppm, ticks_to_media_s(clip.in_ticks))
        assert swim_s(clip.swim.start_at, at) < clip.seen_from_s < clip.seen_to_s
        assert clip.time_state == "sure"


def test_planning_again_changes_nothing(cast: Cast, clinic: Clinic) -> None:
    plan_cuts(clinic=clinic)
    before = list(Clip.objects.order_by("pk").values())
    again = plan_cuts(clinic=clinic)
    assert (again.added, again.moved, again.removed, again.unchanged) == (0, 0, 0, 6)
    assert list(Clip.objects.order_by("pk").values()) == before
    assert Job.objects.filter(kind="render-clip").count() == 6


def test_better_fit_moves_the_windows_and_only_what_changed(cast: Cast, clinic: Clinic) -> None:
    plan_cuts(clinic=clinic)
    Clip.objects.update(state="ready")
    Job.objects.all().delete()
    moved = ClockFit.objects.get(recording=cast.recordings["underwater"])
    moved.zero_at -= dt.timedelta(seconds=0.4)
    moved.save()
    before = {clip.pk: clip.in_ticks for clip in Clip.objects.all()}
    plan = plan_cuts(clinic=clinic)
    assert (plan.added, plan.moved, plan.unchanged) == (0, 4, 2)
    for clip in Clip.objects.all():
        under = clip.station.slug == "underwater"
        assert clip.in_ticks - before[clip.pk] == (36_000 if under else 0)
        assert clip.state == ("waiting" if under else "ready")
    assert Job.objects.filter(kind="render-clip").count() == 4


def test_a_hair_makes_nothing_again(cast: Cast, clinic: Clinic) -> None:
    plan_cuts(clinic=clinic)
    Clip.objects.update(state="ready")
    fit = ClockFit.objects.get(recording=cast.recordings["underwater"])
    fit.zero_at += dt.timedelta(milliseconds=20)
    fit.save()
    assert plan_cuts(clinic=clinic).moved == 0


def test_what_a_person_placed_is_not_moved(cast: Cast, clinic: Clinic) -> None:
    plan_cuts(clinic=clinic)
    placed = Clip.objects.filter(station=cast.underwater).first()
    Clip.objects.filter(pk=placed.pk).update(
        window_by="person", in_ticks=0, out_ticks=90_000, first_frame=0, frame_count=25
    )
    ClockFit.objects.update(zero_at=FIRST_START - dt.timedelta(seconds=21))
    plan_cuts(clinic=clinic)
    placed.refresh_from_db()
    assert (placed.in_ticks, placed.out_ticks, placed.frame_count) == (0, 90_000, 25)
    ClockFit.objects.update(state="not-found", zero_at=None, u_ms=None)
    plan_cuts(clinic=clinic)
    assert list(Clip.objects.all()) == [placed]


def test_recording_without_a_clock_gives_no_clip(cast: Cast, clinic: Clinic) -> None:
    ClockFit.objects.filter(recording=cast.recordings["underwater"]).update(
        state="not-found", zero_at=None, u_ms=None
    )
    plan_cuts(clinic=clinic)
    assert {station for _, station, _ in clips()} == {"start-side"}


def test_file_dates_alone_are_cut_only_when_asked(cast: Cast, clinic: Clinic) -> None:
    ClockFit.objects.filter(recording=cast.recordings["underwater"]).update(
        state="look", method="file date", u_ms=2000.0
    )
    plan_cuts(clinic=clinic)
    assert len(clips()) == 2
    plan_cuts(clinic=clinic, coarse_too=True)
    assert len(clips()) == 6
    assert {c.time_state for c in Clip.objects.filter(station=cast.underwater)} == {"look"}
    plan_cuts(clinic=clinic)  # by itself it takes nothing of that away
    assert len(clips()) == 6


def test_recording_that_holds_most_of_the_window_is_cut(cast: Cast, clinic: Clinic) -> None:
    long = cast.recordings["start-side"]
    short = make_recording(
        cast.start_side, cast.crew, zero_at=FIRST_START + dt.timedelta(seconds=2), frames=3000
    )
    plan_cuts(clinic=clinic)
    held = {c.swim_id: c.recording_id for c in Clip.objects.filter(station=cast.start_side)}
    assert held[cast.swims["tomas"].pk] == long.pk
    ClockFit.objects.filter(recording=long).update(
        zero_at=FIRST_START - dt.timedelta(seconds=239)  # now it ends a second after the start
    )
    plan_cuts(clinic=clinic)
    moved = Clip.objects.get(station=cast.start_side, swim=cast.swims["tomas"])
    assert moved.recording_id == short.pk
    assert moved.in_ticks == 0


def test_windows_end_with_the_recording(cast: Cast, clinic: Clinic) -> None:
    Recording.objects.filter(pk=cast.recordings["start-side"].pk).update(duration_s=21.0)
    plan_cuts(clinic=clinic)
    clip = Clip.objects.get(station=cast.start_side)
    assert clip.swim == cast.swims["tomas"]
    assert clip.out_ticks == 21 * 90_000
    assert clip.seen_to_s == pytest.approx(1.0)


def test_stations_own_windows_are_cut(cast: Cast, clinic: Clinic) -> None:
    Station.objects.filter(pk=cast.underwater.pk).update(
        windows=[{"pass": 1, "from_s": 7.0, "to_s": 11.0}]
    )
    plan_cuts(clinic=clinic)
    clip = Clip.objects.get(swim=cast.swims["tomas"], station=cast.underwater, pass_no=1)
    assert clip.window_by == "station"
    assert (clip.in_ticks, clip.out_ticks) == (27 * 90_000, 31 * 90_000)
    assert clip.frame_count == 100


def test_consent_that_ends_drops_what_waits_and_cancels_it(cast: Cast, clinic: Clinic) -> None:
    plan_cuts(clinic=clinic)
    Consent.objects.filter(swimmer__user=cast.tomas).update(ended_at=FIRST_START)
    plan = plan_cuts(clinic=clinic)
    assert plan.removed == 3
    assert {name for name, _, _ in clips()} == {"Wren Okada"}
    assert Job.objects.filter(kind="render-clip", state="cancelled").count() == 3


def test_consent_that_comes_late_gets_its_clips_without_anybody_asking(
    cast: Cast, clinic: Clinic
) -> None:
    for station in ("start-side", "underwater"):
        for swimmer, frame in (("tomas", 500), ("wren", 500 + 1133)):  # 20.0 and 65.3 s
            place_tie(
                recording=cast.recordings[station],
                pts_ticks=frame * 3600,
                swim=cast.swims[swimmer],
                kind="start-seen",
                by=cast.crew,
            )
    plan_cuts(clinic=clinic)
    sol = {"swim": cast.swims["sol"]}
    assert clips(**sol) == []
    record_consent(
        swimmer=cast.swims["sol"].entry.swimmer, purpose="film-and-review", by=cast.admin
    )
    drain(("quick",))
    assert clips(**sol) == [
        ("Sol Hagen", "start-side", 1),
        ("Sol Hagen", "underwater", 1),
        ("Sol Hagen", "underwater", 2),
    ]
    made = Job.objects.filter(kind="render-clip", subject_id__in=Clip.objects.filter(**sol))
    assert made.filter(state="waiting").count() == 3


def test_the_command_says_who_is_not_cut_and_what_to_do(cast: Cast, clinic: Clinic) -> None:
    out = io.StringIO()
    call_command("cut", clinic.slug, stdout=out, stderr=io.StringIO())
    told = out.getvalue()
    assert "Not cut, since the swimmer has not agreed to be filmed:\n  3 Sol Hagen\n" in told
    assert "record_consent harbour-autumn NUMBER --by ADMIN" in told and "Consent page" in told
    out = io.StringIO()
    call_command("cut", clinic.slug, json=True, stdout=out, stderr=io.StringIO())
    assert json.loads(out.getvalue())["not_agreed"] == [{"number": 3, "swimmer": "Sol Hagen"}]
    Consent.objects.update(ended_at=None)
    out = io.StringIO()
    call_command("cut", clinic.slug, stdout=out, stderr=io.StringIO())
    assert "agreed" not in out.getvalue()


def test_clip_of_a_swim_without_consent_is_not_made(cast: Cast, clinic: Clinic) -> None:
    plan_cuts(clinic=clinic)
    Consent.objects.filter(swimmer__user=cast.tomas).update(ended_at=FIRST_START)
    clip = Clip.objects.filter(swim=cast.swims["tomas"]).first()
    render(clip, lambda *_: None)
    clip.refresh_from_db()
    assert (clip.state, clip.files.count()) == ("waiting", 0)


def test_recording_that_is_read_anew_keeps_its_clips(cast: Cast, clinic: Clinic) -> None:
    plan_cuts(clinic=clinic)
    Recording.objects.filter(pk=cast.recordings["underwater"].pk).update(state="waiting")
    assert plan_cuts(clinic=clinic).removed == 0


def test_first_swimmers_views_come_first_and_an_open_swim_before_them(
    cast: Cast, clinic: Clinic
) -> None:
    plan_cuts(clinic=clinic)
    jobs = {job.subject_id: job.priority for job in Job.objects.filter(kind="render-clip")}
    order = sorted(Clip.objects.all(), key=lambda clip: jobs[clip.pk])
    assert [clip.swim for clip in order] == [cast.swims["tomas"]] * 3 + [cast.swims["wren"]] * 3
    open_now(clip=order[-1])
    assert Job.objects.order_by("priority").first().subject_id == order[-1].pk
    assert Job.objects.filter(kind="render-clip").count() == 6


def test_closed_clinic_is_not_cut(cast: Cast, clinic: Clinic) -> None:
    Clinic.objects.filter(pk=clinic.pk).update(state="closed", closed_at=FIRST_START)
    with pytest.raises(BadInput, match="closed"):
        plan_cuts(clinic=clinic)
