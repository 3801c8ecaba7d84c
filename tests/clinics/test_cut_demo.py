"""The path without a browser on the demo clinic: plan, log, bring in, align, cut, report.

Every frame of the demo carries its true instant. So each clip's frames are read back and
compared with the generator's truth, for the variable-rate, the split and the silent source;
and clocks and starts are judged against it after one common shift of the clinic, since taps
are late as a whole and nothing in the demo measures that.
"""

from __future__ import annotations

import datetime as dt
import io
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from django.core.files.storage import default_storage
from django.core.management import call_command

from clinics.management.demo.make import make_demo
from clinics.management.demo.painted import read
from clinics.models import Consent, Swimmer
from tests.media.film import decoded

pytestmark = [pytest.mark.django_db, pytest.mark.slow]


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("demo") / "short"
    make_demo(out, seed=3, short=True)
    return out


def run(*argv: str, **options: Any) -> str:
    out = io.StringIO()
    call_command(*argv, stdout=out, stderr=io.StringIO(), **options)
    return out.getvalue()


@pytest.fixture
def report(demo: Path) -> dict[str, Any]:
    run("plan_clinic", str(demo / "plan.toml"), create_club="Harbour Lane Masters")
    for swimmer in Swimmer.objects.all():
        Consent.objects.create(swimmer=swimmer, purpose="film-and-review")
    run("log_starts", "harbour-autumn", str(demo / "starts.csv"))
    for folder in sorted((demo / "media").iterdir()):
        files = [str(path) for path in sorted(folder.iterdir())]
        run("bring_in", "harbour-autumn", folder.name, *files, wait=True)
    run("align", "harbour-autumn", ties=str(demo / "ties.json"))
    told = json.loads(run("cut", "harbour-autumn", wait=True, json=True))
    assert told["failed"] == [] and told["clips"]["ready"] == sum(told["clips"].values())
    return json.loads(run("clinic_report", "harbour-autumn", json=True))


def test_demo_clips_and_clocks_are_what_the_truth_says(report: dict[str, Any], demo: Path) -> None:
    truth = json.loads((demo / "truth.json").read_text())
    clips_show_the_planned_frames_at_their_true_instants(report, truth)
    clocks_and_starts_are_right_within_what_they_say(report, truth)


def clips_show_the_planned_frames_at_their_true_instants(
    report: dict[str, Any], truth: dict[str, Any]
) -> None:
    by_files = {tuple(f["name"] for f in one["files"]): one for one in truth["recordings"]}
    recordings = {
        one["id"]: (one, by_files[tuple(f["name"] for f in one["files"])])
        for one in report["recordings"]
    }
    assert len(recordings) == len(truth["recordings"])
    assert {clip["station"] for clip in report["clips"]} == {
        one["station"] for one in truth["recordings"]
    }
    for clip in report["clips"]:
        found, true = recordings[clip["recording"]]
        span = slice(clip["first_frame"], clip["first_frame"] + clip["frames"])
        media_s = np.array(true["pts_ticks"][span]) / truth["ticks_per_s"]
        assert clip["in_media_s"] <= media_s[0] + 1e-4 and media_s[-1] < clip["out_media_s"] + 1e-4
        for made in clip["renditions"]:
            path = Path(default_storage.path(made["path"]))
            assert [read(luma) for luma in decoded(path)] == true["painted"][span], clip


def clocks_and_starts_are_right_within_what_they_say(
    report: dict[str, Any], truth: dict[str, Any]
) -> None:
    zeros = {one["files"][0]["name"]: one["zero_at"] for one in truth["recordings"]}
    off_ms, u_ms = [], []
    for one in report["recordings"]:
        off = _seconds(one["zero_at"]) - _seconds(zeros[one["files"][0]["name"]])
        off_ms.append(1000 * off)
        u_ms.append(one["u_ms"])
        assert one["ties"] >= 1
    common = float(np.median(off_ms))
    assert abs(common - 200) < 300  # taps are late by 0.20 s ± 0.08
    for off, u in zip(off_ms, u_ms, strict=True):
        assert abs(off - common) < 3 * u + 20
    starts = {one["number"]: one["start_at"] for one in truth["swims"]}
    for swim in report["swims"]:
        assert swim["start_kind"] in {"heard", "mark", "tap"}
        off = 1000 * (_seconds(swim["start_at"]) - _seconds(starts[swim["number"]]))
        assert abs(off - common) < 3 * swim["start_u_ms"] + 3 * max(u_ms)


def _seconds(instant: str) -> float:
    return dt.datetime.fromisoformat(instant).timestamp()
