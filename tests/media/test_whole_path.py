"""The main job by its commands alone, on the demo clinic, with the outside witnesses:
the time painted into every picture, ffprobe, and the generator's own truth.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from clinics.management.demo.painted import read
from clinics.media.index import load_frame_table

ROOT = Path(__file__).resolve().parents[2]
pytestmark = [pytest.mark.slow, pytest.mark.services, pytest.mark.timeout(900)]


@dataclass(frozen=True)
class Done:
    """The demo clinic after its path, as the report and the truth tell it."""

    data: Path
    report: dict[str, Any]
    truth: dict[str, Any]

    def true_recording(self, recording_id: str) -> dict[str, Any]:
        row = next(r for r in self.report["recordings"] if r["id"] == recording_id)
        names = [file["name"] for file in row["files"]]
        return next(r for r in self.truth["recordings"] if [f["name"] for f in r["files"]] == names)


def manage(data: Path, *words: str) -> subprocess.CompletedProcess[str]:
    env = {**os.environ, "SIDELANE_DATA": str(data), "SECOND_FACTOR_REQUIRED": "false"}
    for name in ("DATABASE_URL", "REDIS_URL", "DJANGO_SETTINGS_MODULE"):
        env.pop(name, None)
    return subprocess.run(
        [sys.executable, "manage.py", *words],
        cwd=ROOT,
        env=env,
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.fixture(scope="module")
def done(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Done]:
    data = tmp_path_factory.mktemp("whole-path")
    for words in (("migrate", "-v0"), ("make_demo", "--short")):
        ran = manage(data, *words)
        assert ran.returncode == 0, ran.stdout[-2000:] + ran.stderr[-4000:]
    report = manage(data, "clinic_report", "--all", "--json")
    assert report.returncode == 0, report.stderr
    (clinic,) = json.loads(report.stdout)["clinics"]
    yield Done(data, clinic, json.loads((data / "demo-short" / "truth.json").read_text()))


def test_report_has_its_stable_names(done: Done) -> None:
    assert done.report.keys() >= {"recordings", "swims", "clips"}
    names = {
        "recordings": "station camera files zero_at rate_ppm u_ms state ties",
        "swims": "number swimmer start_at start_kind start_u_ms person passed_at given_at",
        "clips": "swimmer station pass recording in_media_s out_media_s frames time_state state "
        "renditions",
    }
    for part, words in names.items():
        assert done.report[part], part
        for row in done.report[part]:
            assert row.keys() >= set(words.split())
    for rendition in (r for c in done.report["clips"] for r in c["renditions"]):
        assert rendition.keys() >= {"height", "path", "pts_table"}
        assert (done.data / "media" / rendition["path"]).is_file()


def test_every_pass_of_every_swim_has_a_clip(done: Done) -> None:
    wanted = {
        (swim["swimmer"], station["station"], one["pass"])
        for swim in done.truth["swims"]
        for station in swim["stations"]
        for one in station["passes"]
    }
    made = {(c["swimmer"], c["station"], c["pass"]) for c in done.report["clips"]}
    assert made == wanted
    assert {c["state"] for c in done.report["clips"]} == {"ready"}


def painted_in(path: Path, height: int) -> list[int | None]:
    """The painted instants of a file's pictures, decoded by ffmpeg as it comes."""
    width = height * 16 // 9
    raw = subprocess.run(
        ["ffmpeg", "-nostdin", "-v", "error", "-i", str(path)]
        + "-fps_mode passthrough -f rawvideo -pix_fmt gray -".split(),
        capture_output=True,
        check=True,
    ).stdout
    return [read(f) for f in np.frombuffer(raw, dtype=np.uint8).reshape(-1, height, width)]


def test_clips_show_exactly_the_planned_pictures(done: Done) -> None:
    """First and last as planned, none lost or doubled; variable rate and split files included."""
    kinds = set()
    for clip in done.report["clips"]:
        truth = done.true_recording(clip["recording"])
        kinds.add((truth["variable_rate"], len(truth["files"])))
        first, count = clip["first_frame"], clip["frames"]
        planned = truth["painted"][first : first + count]
        ticks = np.array(truth["pts_ticks"])
        inside = (ticks >= round(clip["in_media_s"] * 90_000) - 1) & (
            ticks < round(clip["out_media_s"] * 90_000) - 1
        )
        assert abs(int(inside.sum()) - count) <= 1
        for rendition in clip["renditions"]:
            shown = painted_in(done.data / "media" / rendition["path"], rendition["height"])
            assert shown == planned, (clip["station"], clip["swimmer"])
    assert {(True, 1), (False, 2), (False, 1)} <= kinds


def test_frame_times_are_those_of_the_recording_by_ffprobe(done: Done) -> None:
    for clip in done.report["clips"]:
        truth = done.true_recording(clip["recording"])
        first, count = clip["first_frame"], clip["frames"]
        wanted = np.array(truth["pts_ticks"][first : first + count])
        for rendition in clip["renditions"]:
            told = subprocess.run(
                "ffprobe -v error -select_streams v -show_entries packet=pts -of csv=p=0".split()
                + [str(done.data / "media" / rendition["path"])],
                capture_output=True,
                text=True,
                check=True,
            ).stdout.split()
            seen = np.sort(np.array([int(line.strip(",")) for line in told]))
            assert np.abs((seen - seen[0]) - (wanted - wanted[0])).max() <= 1
            table = load_frame_table(done.data / "media" / rendition["pts_table"])
            assert np.array_equal(table - table[0], seen - seen[0])


def test_files_carry_no_place_date_or_sound_track(done: Done) -> None:
    """The deck camera's files had a place tag; ffprobe finds none in any rendition."""
    for clip in done.report["clips"]:
        for rendition in clip["renditions"]:
            told = json.loads(
                subprocess.run(
                    "ffprobe -v error -show_format -show_streams -of json".split()
                    + [str(done.data / "media" / rendition["path"])],
                    capture_output=True,
                    text=True,
                    check=True,
                ).stdout
            )
            (stream,) = told["streams"]
            assert (stream["codec_name"], stream["pix_fmt"]) == ("h264", "yuv420p")
            assert stream["has_b_frames"] == 0
            tags = {**told["format"].get("tags", {}), **stream.get("tags", {})}
            assert not {"location", "creation_time", "make", "model"} & {t.lower() for t in tags}


def test_fits_hold_the_truth_within_what_they_say(done: Done) -> None:
    """After one common shift of the clinic (invariant 5), each recording's own clock is where the
    truth has it, at its middle, within three of its stated uncertainties."""
    gaps, stated = [], []
    for row in done.report["recordings"]:
        truth = done.true_recording(row["id"])
        middle_s = truth["pts_ticks"][-1] / 90_000 / 2
        fitted = datetime.fromisoformat(row["zero_at"]) + timedelta(
            seconds=middle_s * (1 + row["rate_ppm"] * 1e-6)
        )
        true = datetime.fromisoformat(truth["zero_at"]) + timedelta(
            seconds=middle_s * (1 + truth["rate_ppm"] * 1e-6)
        )
        gaps.append((fitted - true).total_seconds() * 1000)
        stated.append(row["u_ms"])
    residual = np.abs(np.array(gaps) - np.median(gaps))
    assert (residual <= 3 * np.array(stated)).all(), (gaps, stated)


def test_measures_of_the_marks_in_the_pictures_are_the_painted_ones(done: Done) -> None:
    """Through clocks, starts and frames as found. Each ± holds in 95 of 100 cases, so that one of
    many may be off by a little more."""
    true = {swim["number"]: swim["events_s"] for swim in done.truth["swims"]}
    marked = [swim for swim in done.report["swims"] if swim["measures"]]
    assert marked and {swim["start_kind"] for swim in marked} == {"heard"}
    for swim in marked:
        events = true[swim["number"]]
        wanted = {
            ("block-time", 0): events["leave"],
            ("breakout-time", 0): events["breakout"],
            ("turn-wall", 1): events["turn_1_feet_leave"] - events["turn_1_feet_touch"],
        }
        told = {(one["definition"], one["number"]): one for one in swim["measures"]}
        for key, true_s in wanted.items():
            off_s = abs(told[key]["value"] - true_s)
            assert off_s <= 1.5 * told[key]["half_width_95"], (swim["number"], key)


def test_repeating_the_path_changes_nothing(done: Done) -> None:
    again = manage(done.data, "make_demo", "--short")
    assert again.returncode == 0, again.stderr[-3000:]
    report = json.loads(manage(done.data, "clinic_report", "--all", "--json").stdout)
    (clinic,) = report["clinics"]
    for part in ("recordings", "swims", "clips"):
        assert clinic[part] == done.report[part]
