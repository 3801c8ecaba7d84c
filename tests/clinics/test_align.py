"""Ties placed on frames, files of ties, and what the fit does to recordings and starts."""

from __future__ import annotations

import datetime as dt
import io
import json
from pathlib import Path

import numpy as np
import pytest
from django.core.management import CommandError, call_command

from clinics.actions.align import ask_to_align, fit_clocks, run_align
from clinics.actions.errors import BadInput
from clinics.actions.index import frames_of
from clinics.actions.ties import place_tie, remove_tie, take_in_ties
from clinics.compute.sound import travel_s
from clinics.compute.time import clinic_instant, media_s_at, ticks_to_media_s
from clinics.models import Clinic, Clip, ClockFit, Recording, StartLogEntry, Swim, Tie
from portal.actions.job_worker import drain
from portal.models import AuditEntry, Job
from tests.cast import FIRST_START, Cast

FRAME_TICKS = 3600  # the cast's recordings have 25 frames a second


@pytest.fixture
def clinic(cast: Cast) -> Clinic:
    """The cast's clinic before anything is fitted, its starts as tapped in a log."""
    ClockFit.objects.filter(recording__station__clinic=cast.clinic).delete()
    for n, key in enumerate(("tomas", "wren", "sol")):
        swim = cast.swims[key]
        line = StartLogEntry.objects.create(
            clinic=cast.clinic, client_id=f"line-{key}", entry=swim.entry, instant=swim.start_at
        )
        Swim.objects.filter(pk=swim.pk).update(log_entry=line)
        swim.refresh_from_db()
        assert swim.start_at == FIRST_START + dt.timedelta(seconds=45.3 * n)
    return cast.clinic


def tie(cast: Cast, station: str, swimmer: str, frame: int, **kwargs: object) -> Tie:
    said = {"kind": "start-seen", "swim": cast.swims[swimmer], "by": cast.crew, **kwargs}
    return place_tie(recording=cast.recordings[station], pts_ticks=frame * FRAME_TICKS, **said)


def fit_of(cast: Cast, station: str) -> ClockFit:
    return ClockFit.objects.get(recording=cast.recordings[station])


def test_two_ties_on_shared_starts_make_both_cameras_sure(cast: Cast, clinic: Clinic) -> None:
    # starts at 20.0 s and 110.6 s of the one, at 7.0 and 97.6 s of the other
    for station, first in (("start-side", 500), ("underwater", 175)):
        tie(cast, station, "tomas", first, u_ms=12.0)
        tie(cast, station, "sol", first + 2265, u_ms=12.0)
    fits = fit_clocks(clinic=clinic, by=cast.crew)
    assert {fit.state for fit in fits} == {"sure"}
    apart = fit_of(cast, "underwater").zero_at - fit_of(cast, "start-side").zero_at
    assert apart.total_seconds() == pytest.approx(13.0, abs=0.02)
    tomas = Swim.objects.get(pk=cast.swims["tomas"].pk)
    assert tomas.start_kind == "mark"
    assert tomas.start_u_ms < 20
    wren = Swim.objects.get(pk=cast.swims["wren"].pk)
    assert (wren.start_kind, wren.start_at) == ("tap", cast.swims["wren"].start_at)
    residuals = Tie.objects.values_list("residual_ms", flat=True)
    assert all(value is not None and abs(value) < 20 for value in residuals)


def test_half_a_frame_is_taken_off(cast: Cast, clinic: Clinic) -> None:
    tie(cast, "start-side", "tomas", 500)
    fit_clocks(clinic=clinic)
    fit = fit_of(cast, "start-side")
    assert media_s_at(fit.zero_at, fit.rate_ppm, FIRST_START) == pytest.approx(19.98, abs=1e-5)
    assert fit.state == "look"
    assert "second tie" in fit.reason


def test_heard_start_has_the_sounds_way_taken_off(cast: Cast, clinic: Clinic) -> None:
    tie(cast, "start-side", "tomas", 500, kind="start-heard")
    fit_clocks(clinic=clinic)
    fit, station = fit_of(cast, "start-side"), cast.start_side
    way_s = travel_s((0, 1, 1.5), (station.x_m, station.y_m, station.z_m), 27)
    heard_at = FIRST_START + dt.timedelta(seconds=way_s)
    assert way_s > 0.01
    assert media_s_at(fit.zero_at, fit.rate_ppm, heard_at) == pytest.approx(19.98, abs=1e-5)
    assert Swim.objects.get(pk=cast.swims["tomas"].pk).start_kind == "heard"


def test_fitting_again_changes_nothing_and_is_not_recorded_again(
    cast: Cast, clinic: Clinic
) -> None:
    for swimmer, frame in (("tomas", 500), ("sol", 2770)):  # 0.2 s off each other
        tie(cast, "start-side", swimmer, frame)
        tie(cast, "underwater", swimmer, frame - 325)
    fit_clocks(clinic=clinic)
    fits = list(ClockFit.objects.values())
    swims = list(Swim.objects.values())
    fit_clocks(clinic=clinic)
    assert list(ClockFit.objects.values()) == fits
    assert list(Swim.objects.values()) == swims
    assert AuditEntry.objects.filter(action="clocks.fitted").count() == 1


def test_removed_tie_gives_the_start_back_to_its_tap(cast: Cast, clinic: Clinic) -> None:
    placed = tie(cast, "start-side", "tomas", 500, kind="start-heard")
    fit_clocks(clinic=clinic)
    remove_tie(tie=placed, by=cast.crew)
    fit_clocks(clinic=clinic)
    tomas = Swim.objects.get(pk=cast.swims["tomas"].pk)
    assert (tomas.start_kind, tomas.start_at, tomas.start_u_ms) == ("tap", FIRST_START, 150.0)
    assert fit_of(cast, "start-side").state == "not-found"


def test_same_start_placed_again_moves_its_tie(cast: Cast, clinic: Clinic) -> None:
    first = tie(cast, "start-side", "tomas", 500)
    second = tie(cast, "start-side", "tomas", 501)
    assert (first.pk, second.pts_ticks) == (second.pk, 501 * FRAME_TICKS)


def test_what_a_tie_needs(cast: Cast, clinic: Clinic) -> None:
    recording = cast.recordings["start-side"]
    swim, by = cast.swims["tomas"], cast.crew
    for said, why in (
        ({"pts_ticks": 17, "swim": swim, "kind": "start-seen"}, "no frame"),
        ({"pts_ticks": 0, "swim": cast.swims["other"], "kind": "start-seen"}, "this clinic"),
        ({"pts_ticks": 0, "kind": "start-seen"}, "this clinic"),
        ({"pts_ticks": 0, "kind": "instant"}, "instant"),
        ({"pts_ticks": 0, "swim": swim, "kind": "felt"}, "no kind"),
    ):
        with pytest.raises(BadInput, match=why):
            place_tie(recording=recording, by=by, **said)
    with pytest.raises(BadInput, match="no sound"):
        tie(cast, "underwater", "tomas", 0, kind="start-heard")
    assert not Tie.objects.exists()


def test_closed_clinic_keeps_its_ties(cast: Cast, clinic: Clinic) -> None:
    placed = tie(cast, "start-side", "tomas", 500)
    Clinic.objects.filter(pk=clinic.pk).update(state="closed", closed_at=FIRST_START)
    placed = Tie.objects.get(pk=placed.pk)
    with pytest.raises(BadInput, match="closed"):
        remove_tie(tie=placed, by=cast.crew)


def test_file_date_places_a_recording_coarsely(cast: Cast, clinic: Clinic) -> None:
    Recording.objects.filter(pk=cast.recordings["start-side"].pk).update(
        file_date=FIRST_START - dt.timedelta(seconds=19)
    )
    Recording.objects.filter(pk=cast.recordings["underwater"].pk).update(
        file_date=FIRST_START - dt.timedelta(hours=3)
    )
    fit_clocks(clinic=clinic)
    start, under = fit_of(cast, "start-side"), fit_of(cast, "underwater")
    assert (start.state, start.method, start.u_ms) == ("look", "file date", 2000.0)
    assert (under.state, under.zero_at) == ("not-found", None)
    assert "clock was set wrong" in under.reason


def test_known_instant_corrects_the_log_as_a_whole(cast: Cast, clinic: Clinic) -> None:
    """The log is 12 s behind what a clock in the picture says."""
    tie(cast, "start-side", "tomas", 500)
    tie(cast, "start-side", "sol", 2765)
    at = FIRST_START + dt.timedelta(seconds=12 + 40)
    tie(cast, "start-side", "tomas", 1500, kind="instant", swim=None, instant=at, u_ms=20.0)
    fit_clocks(clinic=clinic)
    fit = fit_of(cast, "start-side")
    told = clinic_instant(fit.zero_at, fit.rate_ppm, 1500 / 25 - 0.02)
    assert abs((told - at).total_seconds()) < 0.02
    wren = Swim.objects.get(pk=cast.swims["wren"].pk)
    late_s = (wren.start_at - cast.swims["wren"].start_at).total_seconds()
    assert late_s == pytest.approx(12, abs=0.2)
    assert wren.start_u_ms > 150


# --- files of ties --------------------------------------------------------------------------------


def document(*ties: dict, station: str = "start-side", files: tuple[str, ...] = ("00012.MTS",)):
    rows = [{"station": station, "files": list(files), "ties": list(ties)}]
    return json.dumps({"format": "sidelane-ties/1", "recordings": rows})


def test_ties_of_a_file_stand_on_the_nearest_frame(cast: Cast, clinic: Clinic) -> None:
    text = document(
        {"kind": "start-seen", "swimmer": 1, "media_s": 20.0004, "u_ms": 12},
        {"kind": "start-heard", "swimmer": 2, "ticks": 1633 * FRAME_TICKS + 1},
        {"kind": "start-seen", "swimmer": 3, "frame": 2765},
        {"kind": "instant", "instant": "2026-11-14T10:13:00Z", "media_s": 49.76},
    )
    assert take_in_ties(clinic=clinic, text=text, by=None) == 4
    assert take_in_ties(clinic=clinic, text=text, by=None) == 4
    frames = frames_of(cast.recordings["start-side"])
    placed = list(Tie.objects.values_list("pts_ticks", flat=True))
    assert placed == [int(frames[n]) for n in (500, 1244, 1633, 2765)]


def test_every_bad_tie_is_named_and_none_is_placed(cast: Cast, clinic: Clinic) -> None:
    text = document(
        {"kind": "start-seen", "swimmer": 1, "media_s": 20.0},
        {"kind": "start-seen", "swimmer": 77, "media_s": 20.0},
        {"kind": "start-seen", "swimmer": 2, "media_s": 9000.0},
    )
    with pytest.raises(BadInput) as caught:
        take_in_ties(clinic=clinic, text=text, by=None, source="ties.json")
    assert [where for where, _ in caught.value.errors] == [
        "ties.json, recording 1, tie 2",
        "ties.json, recording 1, tie 3",
    ]
    with pytest.raises(BadInput) as caught:
        take_in_ties(clinic=clinic, text=document({"kind": "seen"}, {}), by=None)
    assert len(caught.value.errors) >= 4
    for text in ("{", "[]", document({"kind": "start-seen", "swimmer": 1, "frame": 1}, files=())):
        with pytest.raises(BadInput):
            take_in_ties(clinic=clinic, text=text, by=None)
    assert not Tie.objects.exists()


def test_command_places_ties_and_tells_the_fit(cast: Cast, clinic: Clinic, tmp_path: Path) -> None:
    path = tmp_path / "ties.json"
    path.write_text(
        document(
            {"kind": "start-seen", "swimmer": 1, "media_s": 20.0},
            {"kind": "start-seen", "swimmer": 3, "media_s": 110.6},
        )
    )
    out, err = io.StringIO(), io.StringIO()
    call_command("align", clinic.slug, ties=str(path), json=True, stdout=out, stderr=err)
    told = json.loads(out.getvalue())
    start = next(row for row in told["recordings"] if row["station"] == "start-side")
    assert start["state"] == "sure"
    assert start["zero_at"].endswith("Z")
    assert [tie["swimmer"] for tie in start["ties"]] == [1, 3]
    assert "2 ties placed" in err.getvalue()
    path.write_text("no json")
    with pytest.raises(CommandError) as caught:
        call_command("align", clinic.slug, ties=str(path), stderr=err)
    assert caught.value.returncode == 2
    words = io.StringIO()
    call_command("align", clinic.slug, stdout=words, stderr=err)
    assert "not found" in words.getvalue()


# --- the job ----------------------------------------------------------------------------------


def test_job_fits_then_plans_and_may_run_twice(cast: Cast, clinic: Clinic) -> None:
    tie(cast, "start-side", "tomas", 500)
    tie(cast, "start-side", "sol", 2765)
    ask_to_align(clinic=clinic, by=cast.crew)
    assert ask_to_align(clinic=clinic) == Job.objects.get(kind="align")
    drain(("quick",))
    assert Job.objects.get(kind="align").state == "done"
    assert fit_of(cast, "start-side").state == "sure"
    clips = set(Clip.objects.values_list("pk", "in_ticks"))
    run_align(Job.objects.get(kind="align"), lambda *_: None)
    assert set(Clip.objects.values_list("pk", "in_ticks")) == clips


def test_uneven_frames_take_off_half_of_their_own_interval(cast: Cast, clinic: Clinic) -> None:
    """Variable rate: what is taken off is half the time since the frame before."""
    from clinics.media.frames import save_frame_table

    recording = cast.recordings["start-side"]
    steps = np.where(np.arange(5999) == 499, 9000, FRAME_TICKS)
    pts = np.concatenate([[0], np.cumsum(steps)])
    save_frame_table(recording.frame_table.local_path(), pts)
    place_tie(
        recording=recording,
        pts_ticks=int(pts[500]),
        swim=cast.swims["tomas"],
        kind="start-seen",
        by=None,
    )
    fit_clocks(clinic=clinic)
    fit = fit_of(cast, "start-side")
    assert media_s_at(fit.zero_at, 0.0, FIRST_START) == pytest.approx(
        ticks_to_media_s(int(pts[500])) - 0.05, abs=1e-5
    )
    assert Tie.objects.get().u_ms == pytest.approx(50.0)
