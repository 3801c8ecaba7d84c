"""The demo clinics: what their files show and sound like is what their truth says.

Outside witnesses: ffprobe and ffmpeg for stream facts and decoded frames; scipy's correlation for
the arrival of the start signal; speed of sound 331.3 sqrt(1 + T / 273.15) m/s (ideal gas; the same
values as a table printed by a university acoustics course: 1,124.1 ft/s at 20 degrees Celsius).
"""

from __future__ import annotations

import csv
import io
import json
import math
import subprocess
import tomllib
from datetime import datetime, timedelta
from fractions import Fraction
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from scipy.signal import fftconvolve

from clinics.compute.log_file import parse_log
from clinics.compute.plan_file import parse_plan
from clinics.compute.roster_file import parse_roster
from clinics.compute.windows import windows_for
from clinics.management.demo.make import DemoFolderTaken, Truth, make_demo
from clinics.management.demo.occasions import CLINICS
from clinics.management.demo.painted import read
from clinics.management.demo.sound import SIGNALS
from clinics.media.encode import EncodeFailed, encode_raw_frames

WIDTH_PX, STRIP_PX = 640, 16


AUTUMN, WINTER = "harbour-autumn", "harbour-winter"


@pytest.fixture(scope="module")
def shorts(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Truth]:
    folder = tmp_path_factory.mktemp("demo")
    return {slug: make_demo(folder / slug, seed=1, short=True, clinic=slug) for slug in CLINICS}


@pytest.fixture(params=[AUTUMN, WINTER])
def demo(request: pytest.FixtureRequest, shorts: dict[str, Truth]) -> Truth:
    return shorts[request.param]


@pytest.fixture
def autumn(shorts: dict[str, Truth]) -> Truth:
    return shorts[AUTUMN]


def joined(paths: list[Path]) -> list[str]:
    """Input options that read a recording's files as one, time stamps running on."""
    source = str(paths[0]) if len(paths) == 1 else "concat:" + "|".join(map(str, paths))
    return ["-i", source]


def run(*argv: str) -> bytes:
    return subprocess.run(argv, check=True, capture_output=True, timeout=60).stdout


def probe(path: Path, *show: str) -> dict:
    return json.loads(run("ffprobe", "-v", "error", *show, "-of", "json", str(path)))


def strips_of(paths: list[Path]) -> np.ndarray:
    """The top rows of every decoded frame, in brightness: uint8 [frames, 16, 640]."""
    filters = f"crop={WIDTH_PX}:{STRIP_PX}:0:0,extractplanes=y"
    raw = run(
        *("ffmpeg", "-v", "error", *joined(paths), "-map", "0:v", "-fps_mode", "passthrough"),
        *("-vf", filters, "-f", "rawvideo", "-pix_fmt", "gray", "-"),
    )
    return np.frombuffer(raw, np.uint8).reshape(-1, STRIP_PX, WIDTH_PX)


def ticks_of(path: Path) -> np.ndarray:
    """Presentation times of a file's frames as ffprobe reports them, in 1/90000 s."""
    rows = probe(path, "-select_streams", "v:0", "-show_entries", "frame=pts_time")["frames"]
    return np.rint([float(row["pts_time"]) * 90_000 for row in rows]).astype(int)


def recording_ids(demo: Truth) -> list[str]:
    return [recording["files"][0]["name"] for recording in demo.data["recordings"]]


def test_every_frame_of_every_file_shows_its_true_instant(demo: Truth) -> None:
    for recording in demo.data["recordings"]:
        shown = [read(strip) for strip in strips_of(demo.files_of(recording))]
        assert shown == recording["painted"], recording["files"][0]["name"]


def test_painted_instants_follow_from_zero_rate_and_pts(demo: Truth) -> None:
    epoch = datetime.fromisoformat(demo.data["painted"]["epoch"])
    for recording in demo.data["recordings"]:
        zero_s = (datetime.fromisoformat(recording["zero_at"]) - epoch) / timedelta(seconds=1)
        media_s = np.array(recording["pts_ticks"]) / 90_000
        true_s = zero_s + media_s * (1 + recording["rate_ppm"] * 1e-6)
        assert np.abs(np.array(recording["painted"]) / 10_000 - true_s).max() < 51e-6


# Streams, with ffprobe as the witness
def test_frame_times_in_the_files_are_those_of_the_truth(demo: Truth) -> None:
    for recording in demo.data["recordings"]:
        parts = [ticks_of(path) for path in demo.files_of(recording)]
        assert [len(part) for part in parts] == [file["frames"] for file in recording["files"]]
        ticks = np.concatenate(parts)
        assert np.abs(ticks - ticks[0] - recording["pts_ticks"]).max() <= 1


def test_one_camera_is_variable_and_the_others_are_not(demo: Truth) -> None:
    for recording in demo.data["recordings"]:
        spacing = np.diff(np.concatenate([ticks_of(p) for p in demo.files_of(recording)]))
        rates = 90_000 / spacing
        if recording["variable_rate"]:
            assert rates.min() < 23 and rates.max() > 28
            assert len(set(spacing.tolist())) > 100
        else:
            assert spacing.max() - spacing.min() <= 2


KINDS = {
    AUTUMN: {
        "start-side": ("mov", {"h264", "aac"}),
        "underwater": ("mov", {"h264"}),
        "turn-window": ("mpegts", {"h264", "ac3"}),
        "deck": ("mov", {"h264", "aac"}),
    },
    WINTER: {
        "start-side": ("mov", {"h264", "pcm_s16le"}),
        "turn-window": ("mov", {"h264", "aac"}),
        "deck": ("mpegts", {"h264", "mp2"}),
    },
}


def test_files_are_of_the_kinds_that_cameras_write(demo: Truth) -> None:
    kinds = {}
    for recording in demo.data["recordings"]:
        found = probe(demo.files_of(recording)[0], "-show_streams", "-show_format")
        codecs = {stream["codec_name"] for stream in found["streams"]}
        kinds[recording["station"]] = (found["format"]["format_name"].split(",")[0], codecs)
    assert kinds == KINDS[demo.data["clinic"]]


def test_split_recording_goes_on_in_its_second_file_which_decodes_alone(autumn: Truth) -> None:
    recording = next(r for r in autumn.data["recordings"] if r["station"] == "turn-window")
    first, second = autumn.files_of(recording)
    step = ticks_of(second)[0] - ticks_of(first)[-1]
    assert step == 3600
    strips = strips_of([second])
    assert read(strips[0]) == recording["painted"][recording["files"][0]["frames"]]


def test_camera_dates_are_wrong_as_the_truth_says(autumn: Truth) -> None:
    for recording in autumn.data["recordings"]:
        zero_at = datetime.fromisoformat(recording["zero_at"])
        believed = datetime.fromisoformat(recording["creation_time"])
        ahead_s = (believed - zero_at) / timedelta(seconds=1)
        assert abs(ahead_s - recording["clock_ahead_s"]) <= 1
        first = autumn.files_of(recording)[0]
        if first.suffix != ".MTS":  # a transport stream has no place for a date
            tags = probe(first, "-show_format")["format"]["tags"]
            assert datetime.fromisoformat(tags["creation_time"]) == believed
        ended_at = datetime.fromtimestamp(first.stat().st_mtime, tz=believed.tzinfo)
        seconds = recording["files"][0]["frames"] / 25
        assert abs((ended_at - believed) / timedelta(seconds=1) - seconds) < 0.25 * seconds
    turn = next(r for r in autumn.data["recordings"] if r["station"] == "turn-window")
    assert 3600 < turn["clock_ahead_s"] < 3610, "an hour off, as after a missed change of time"


def test_winter_files_carry_no_date_and_look_as_if_copied_at_once(
    shorts: dict[str, Truth],
) -> None:
    winter = shorts[WINTER]
    stamps = set()
    for recording in winter.data["recordings"]:
        assert recording["creation_time"] is None
        for path in winter.files_of(recording):
            found = probe(path, "-show_format", "-show_streams")
            tags = [stream.get("tags", {}) for stream in found["streams"]]
            tags.append(found["format"].get("tags", {}))
            assert not {key for one in tags for key in one if "time" in key or "date" in key}
            stamps.add(path.stat().st_mtime)
    assert len(stamps) == 1


# Sound
def sound_of(path: Path) -> tuple[float, np.ndarray]:
    """Media second of the first sample against the first frame, and the samples at 48 kHz."""
    streams = probe(path, "-show_entries", "stream=codec_type,start_time")["streams"]
    begin = {s["codec_type"]: float(s["start_time"]) for s in streams}
    raw = run(
        "ffmpeg", "-v", "error", "-i", str(path), "-map", "0:a", "-f", "f32le", "-ac", "1", "-"
    )
    return begin["audio"] - begin["video"], np.frombuffer(raw, "<f4").astype(float)


def arrival_media_s(path: Path, expected_s: float, signal: dict) -> tuple[float, float]:
    """Where the emitted signal correlates best within half a second; and how clear it is."""
    begin_s, samples = sound_of(path)
    sound = SIGNALS[signal["name"]]
    template = sound.at(np.arange(round(signal["length_s"] * 48_000)) / 48_000)
    scores = np.abs(fftconvolve(samples, template[::-1], mode="valid"))
    times_s = begin_s + np.arange(len(scores)) / 48_000
    near = np.abs(times_s - expected_s) < 0.5
    best = int(np.argmax(np.where(near, scores, 0)))
    return float(times_s[best]), float(scores[best] / np.median(scores[near]))


def file_spans(demo: Truth, recording: dict) -> list[tuple[Path, float, float]]:
    """Each file with the media seconds of its first and last frame."""
    spans, first = [], 0
    for path, file in zip(demo.files_of(recording), recording["files"], strict=True):
        last = first + file["frames"] - 1
        begin_s, end_s = (recording["pts_ticks"][k] / 90_000 for k in (first, last))
        spans.append((path, begin_s, end_s))
        first = last + 1
    return spans


def expected_arrivals(demo: Truth) -> list[tuple[Path, float]]:
    """Each file and the second after its first frame at which it should hear a start.

    From the plan, the truth's clocks and the published formula alone.
    """
    plan = tomllib.loads((demo.folder / "plan.toml").read_text())
    speed = 331.3 * math.sqrt(1 + plan["clinic"]["air_temperature_c"] / 273.15)
    rows = []
    for recording in demo.data["recordings"]:
        place = next(s for s in plan["station"] if s["slug"] == recording["station"])
        if not place["hears_start"]:
            continue
        away_m = math.hypot(
            place["x_m"] - plan["starter"]["x_m"], place["y_m"] - plan["starter"]["y_m"]
        )
        zero_at = datetime.fromisoformat(recording["zero_at"])
        for swim in demo.data["swims"]:
            clinic_s = (datetime.fromisoformat(swim["start_at"]) - zero_at) / timedelta(seconds=1)
            media_s = (clinic_s + away_m / speed) / (1 + recording["rate_ppm"] * 1e-6)
            rows += [
                (path, media_s - begin_s)
                for path, begin_s, end_s in file_spans(demo, recording)
                if begin_s < media_s < end_s
            ]
    return rows


def test_start_signal_is_heard_after_its_travel_in_each_cameras_time(demo: Truth) -> None:
    arrivals = expected_arrivals(demo)
    assert len(arrivals) == 6  # each hears both starts; the start files of autumn one each
    for path, expected_s in arrivals:
        heard_s, clearness = arrival_media_s(path, expected_s, demo.data["signal"])
        assert abs(heard_s - expected_s) < 0.003, path.name
        assert clearness > 5, path.name


def test_signal_reaches_the_turn_window_later_than_the_start_camera(autumn: Truth) -> None:
    travel_ms = {r["station"]: r["sound_travel_ms"] for r in autumn.data["recordings"]}
    assert travel_ms["turn-window"] - travel_ms["start-side"] == pytest.approx(59.6, abs=0.5)


# Truth and papers agree
def test_papers_say_what_the_truth_says(demo: Truth) -> None:
    plan = tomllib.loads((demo.folder / "plan.toml").read_text())
    roster = list(csv.DictReader(io.StringIO((demo.folder / "roster.csv").read_text())))
    starts = list(csv.DictReader(io.StringIO((demo.folder / "starts.csv").read_text())))
    numbers = [str(swim["number"]) for swim in demo.data["swims"]]
    assert [row["number"] for row in roster] == [row["swimmer"] for row in starts] == numbers
    assert {row["lane_group"] for row in roster} <= {group["name"] for group in plan["lane_group"]}
    assert {s["slug"] for s in plan["station"]} == {r["station"] for r in demo.data["recordings"]}
    zone = ZoneInfo(plan["clinic"]["time_zone"])
    for row, swim in zip(starts, demo.data["swims"], strict=True):
        tapped_at = datetime.fromisoformat(row["instant"]).replace(tzinfo=zone)
        late_s = (tapped_at - datetime.fromisoformat(swim["start_at"])) / timedelta(seconds=1)
        assert late_s * 1000 == pytest.approx(swim["tap_late_ms"], abs=0.01)
        assert -0.1 < late_s < 0.5
        pace_s = float(next(r for r in roster if r["number"] == row["swimmer"])["pace_s_per_100m"])
        distance_m = plan["clinic"]["distance_m"]
        assert swim["duration_s"] == pytest.approx(pace_s * distance_m / 100, rel=0.021)


def test_papers_are_taken_by_their_readers_and_windows_hold_the_swimmer(demo: Truth) -> None:
    plan = parse_plan((demo.folder / "plan.toml").read_text(), email_ok=lambda mail: "@" in mail)
    content = tomllib.loads((demo.folder / "plan.toml").read_text())
    clinic = content["clinic"]
    rows = parse_roster(
        (demo.folder / "roster.csv").read_text(),
        lane_groups=[group["name"] for group in content["lane_group"]],
        email_ok=lambda mail: "@" in mail,
    )
    log = parse_log(
        (demo.folder / "starts.csv").read_text(),
        zone=ZoneInfo(clinic["time_zone"]),
        date=clinic["date"],
        numbers=[row.number for row in rows],
    )
    tapped = [datetime.fromisoformat(swim["tapped_at"]) for swim in demo.data["swims"]]
    assert [row.instant for row in log] == tapped
    assert [station.slug for station in plan.stations] == [
        row["station"] for row in demo.data["swims"][0]["stations"]
    ]
    for row, swim in zip(rows, demo.data["swims"], strict=True):
        for station, truth in zip(content["station"], swim["stations"], strict=True):
            windows = windows_for(
                kind=station["kind"],
                x_m=station["x_m"],
                given=station.get("windows", []),
                course_m=clinic["course_m"],
                distance_m=clinic["distance_m"],
                pace_s_per_100m=row.pace_s_per_100m,
            )
            assert [w.pass_no for w in windows] == [one["pass"] for one in truth["passes"]]
            for window, one in zip(windows, truth["passes"], strict=True):
                assert window.in_s < one["swim_s"] < window.out_s, station["slug"]


def test_ties_of_the_short_version_name_the_first_frame_at_or_after(demo: Truth) -> None:
    rows = json.loads((demo.folder / "ties.json").read_text())["recordings"]
    epoch = datetime.fromisoformat(demo.data["painted"]["epoch"])
    for row, recording in zip(rows, demo.data["recordings"], strict=True):
        assert row["files"] == [file["name"] for file in recording["files"]]
        assert row["ties"]
        for tie in row["ties"]:
            start_s = (datetime.fromisoformat(tie["clinic_at"]) - epoch) / timedelta(seconds=1)
            if tie["kind"] == "start-heard":
                start_s += recording["sound_travel_ms"] / 1000
            shown_s = np.array(recording["painted"]) / 10_000
            assert shown_s[tie["frame"]] >= start_s - 1e-4 > shown_s[tie["frame"] - 1] - 2e-4
            assert recording["pts_ticks"][tie["frame"]] == tie["ticks"]


PASSES = {
    AUTUMN: {"start-side": 1, "underwater": 2, "turn-window": 1, "deck": 1},
    WINTER: {"start-side": 2, "turn-window": 1, "deck": 1},
}


def test_swims_pass_each_station_while_in_its_picture(demo: Truth) -> None:
    for swim in demo.data["swims"]:
        counts = {}
        for row in swim["stations"]:
            for one in row["passes"]:
                inside = [a <= one["swim_s"] <= b for a, b in row["in_picture_s"]]
                assert any(inside), (swim["number"], row["station"], one)
            counts[row["station"]] = len(row["passes"])
        assert counts == PASSES[demo.data["clinic"]]
        assert sorted(swim["events_s"].values()) == list(swim["events_s"].values())


# Making it
def test_making_it_again_changes_nothing(demo: Truth) -> None:
    stamp = (demo.folder / "truth.json").stat().st_mtime_ns
    again = make_demo(demo.folder, seed=1, short=True, clinic=demo.data["clinic"])
    assert again.data == demo.data
    assert (demo.folder / "truth.json").stat().st_mtime_ns == stamp


def test_folder_with_something_else_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "holiday.txt").write_text("mine")
    with pytest.raises(DemoFolderTaken, match="Name another folder"):
        make_demo(tmp_path, seed=1, short=True)
    assert [path.name for path in tmp_path.iterdir()] == ["holiday.txt"]


def test_failed_encoding_leaves_no_file_and_says_why(tmp_path: Path) -> None:
    frame = memoryview(bytes(64 * 64 * 3 // 2))
    with pytest.raises(EncodeFailed, match=r"clip\.mp4 could not be encoded.*no_such_codec"):
        encode_raw_frames(
            [frame] * 3,
            tmp_path / "clip.mp4",
            width_px=64,
            height_px=64,
            frames_per_s=Fraction(25),
            options={"c:v": "no_such_codec"},
        )
    assert list(tmp_path.iterdir()) == []
