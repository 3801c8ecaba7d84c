"""clinic_report: names that others rely on, one document on standard output."""

from __future__ import annotations

import datetime as dt
import io
import json
from pathlib import Path
from typing import Any

import pytest
from django.core.files.storage import default_storage
from django.core.management import CommandError, call_command

from clinics.actions.log import log_start
from clinics.media.frames import load_frame_table
from clinics.models import Clip, ClockFit
from tests.cast import FIRST_START, Cast, make_entry

RECORDING = {"station", "camera", "files", "zero_at", "rate_ppm", "u_ms", "state", "ties"}
SWIM = {"number", "swimmer", "start_at", "start_kind", "start_u_ms", "person", "passed_at"}
CLIP = {"swimmer", "station", "pass", "recording", "in_media_s", "out_media_s", "frames"}


def report(*args: str, **options: Any) -> Any:
    out = io.StringIO()
    call_command("clinic_report", *args, json=True, stdout=out, **options)
    return json.loads(out.getvalue())


def test_names_are_those_agreed(cast: Cast) -> None:
    told = report("harbour-autumn")
    assert all(row.keys() >= RECORDING for row in told["recordings"])
    assert all(row.keys() >= SWIM | {"given_at"} for row in told["swims"])
    assert all(row.keys() >= CLIP | {"time_state", "state", "renditions"} for row in told["clips"])
    assert len(told["recordings"]) == 2 and len(told["swims"]) == 3 and len(told["clips"]) == 9


def test_values_are_those_of_the_rows(cast: Cast) -> None:
    ClockFit.objects.filter(recording=cast.recordings["underwater"]).update(rate_ppm=-12.5)
    told = report("harbour-autumn")
    start, under = told["recordings"]
    assert start["zero_at"] == "2026-11-14T10:12:10.250000Z"
    assert (under["rate_ppm"], under["u_ms"], under["state"], under["ties"]) == (
        -12.5,
        12.0,
        "sure",
        2,
    )
    files = cast.recordings["start-side"].files.get()
    assert start["files"] == [{"name": files.name, "sha256": files.sha256}]
    swim = told["swims"][0]
    assert (swim["number"], swim["swimmer"], swim["start_kind"]) == (1, "Tomas Birk", "tap")
    assert dt.datetime.fromisoformat(swim["start_at"]) == FIRST_START
    clip = told["clips"][0]
    assert (clip["station"], clip["pass"], clip["frames"]) == ("start-side", 1, 100)
    assert clip["recording"] == start["id"]
    assert (clip["in_media_s"], clip["out_media_s"]) == (19.0, 23.0)


def test_renditions_lie_below_the_media_root(cast: Cast) -> None:
    for clip in report("harbour-autumn")["clips"]:
        for made in clip["renditions"]:
            assert default_storage.exists(made["path"])
            table = load_frame_table(Path(default_storage.path(made["pts_table"])))
            assert len(table) == clip["frames"]


def test_recording_without_a_clock_says_so(cast: Cast) -> None:
    ClockFit.objects.filter(recording=cast.recordings["underwater"]).delete()
    under = report("harbour-autumn")["recordings"][1]
    assert (under["state"], under["zero_at"], under["u_ms"], under["ties"]) == (
        "not-found",
        None,
        None,
        0,
    )


def test_all_clinics(cast: Cast) -> None:
    told = report(all=True)["clinics"]
    slugs = {row["clinic"]["slug"] for row in told}
    assert slugs == {"harbour-autumn", "quillmoor-open"}
    other = next(row for row in told if row["clinic"]["slug"] == "quillmoor-open")
    assert [clip["swimmer"] for clip in other["clips"]] == ["Kit Maddern"]


def test_readable_without_json(cast: Cast) -> None:
    out = io.StringIO()
    call_command("clinic_report", "harbour-autumn", stdout=out)
    lines = out.getvalue().splitlines()
    assert lines[0].startswith("Autumn clinic (harbour-autumn)")
    assert any("Tomas Birk" in line and "ready" in line for line in lines)


def test_it_says_who_is_not_cut_and_what_to_do(cast: Cast) -> None:
    out = io.StringIO()
    call_command("clinic_report", "harbour-autumn", stdout=out)
    assert "not agreed to be filmed:\n  3 Sol Hagen\n" in out.getvalue()  # withdrew
    assert "record_consent harbour-autumn" in out.getvalue()
    agrees = {swim["swimmer"]: swim["agrees"] for swim in report("harbour-autumn")["swims"]}
    assert agrees == {"Tomas Birk": True, "Wren Okada": True, "Sol Hagen": False}


@pytest.mark.parametrize("args", [["nowhere"], [], ["harbour-autumn", "--all"]])
def test_bad_input_ends_with_2(cast: Cast, args: list[str]) -> None:
    with pytest.raises(CommandError) as caught:
        call_command("clinic_report", *args)
    assert caught.value.returncode == 2


def test_as_many_queries_for_many_clips_as_for_few(
    cast: Cast, django_assert_max_num_queries: Any
) -> None:
    with django_assert_max_num_queries(29) as many:
        report("harbour-autumn")
    Clip.objects.filter(pass_no=2).delete()
    with django_assert_max_num_queries(29) as few:
        report("harbour-autumn")
    assert len(many) == len(few)


def test_windows_dropped_spans_reasons_and_progress_are_told(cast: Cast) -> None:
    """In clinic_report and in cut, with the same names."""
    clip = cast.clips["tomas"][1]
    Clip.objects.filter(pk=clip.pk).update(
        seen_by="motion", missing_after_s=1.25, missing_by="recording"
    )
    ida = make_entry(cast.clinic, "Ida Renn", 4, None, "ida@example.org")
    log_start(
        clinic=cast.clinic,
        client_id="ida",
        entry=ida,
        instant=FIRST_START + dt.timedelta(seconds=150),
        outcome="not-filmed",
        by=None,
    )
    told = report("harbour-autumn")
    [shown] = [one for one in told["clips"] if one["id"] == str(clip.pk)]
    assert (shown["window_by"], shown["seen_by"]) == ("pace", "motion")
    assert (shown["missing_before_s"], shown["missing_after_s"]) == (0.0, 1.25)
    assert shown["missing_by"] == "recording"
    of_ida = [one for one in told["dropped"] if one["outcome"] == "not-filmed"]
    assert {one["station"] for one in of_ida} == {"start-side", "underwater"}
    assert of_ida[0]["from_media_s"] == pytest.approx(20 + 150 - 10 - 0.036, abs=0.001)
    assert of_ida[0]["started_at"] == "2026-11-14T10:15:00.250000Z"
    assert told["progress"]["clips"] == 9 and told["progress"]["seconds_left"] is None
    assert told["clock"] == {
        "taps_late_ms": None,
        "taps_late_u_ms": None,
        "signal": {},
        "notes": [],
    }
    assert told["recordings"][0]["slow_motion"] == 1.0

    ClockFit.objects.filter(recording=cast.recordings["underwater"]).update(
        state="not-found", zero_at=None, u_ms=None
    )
    Clip.objects.all().delete()
    out = io.StringIO()
    call_command("cut", "harbour-autumn", json=True, stdout=out, stderr=io.StringIO())
    cut = json.loads(out.getvalue())
    assert {one["station"] for one in cut["cuts"]} == {"start-side"}
    assert {
        (one["number"], one["station"], one["pass"], one["why"]) for one in cut["left_out"]
    } == {(number, "underwater", pass_no, "no-clock") for number in (1, 2) for pass_no in (1, 2)}
    assert cut["dropped"] and cut["progress"]["clips"] == 2
    out = io.StringIO()
    call_command("clinic_report", "harbour-autumn", stdout=out)
    text = out.getvalue()
    assert "1 Tomas Birk, underwater, pass 2: no clock is found" in text
    assert "Shown to nobody" in text and "0 of 2 clips made" in text
