"""Make the demo clinic in a folder: its papers, its recordings, and the truth beside them."""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from typing import Any

import numpy as np

from clinics.management.demo.motion import COURSE_M
from clinics.management.demo.painted import UNITS_PER_S, painted_value
from clinics.management.demo.scenario import (
    AIR_TEMPERATURE_C,
    CLINIC_SLUG,
    CLUB_SLUG,
    DISTANCE_M,
    EPOCH,
    SPLIT_EVERY_FRAMES,
    STARTER_M,
    STATIONS,
    TICKS_PER_S,
    VARIABLE_PTS_EXPRESSION,
    DemoRecording,
    DemoSwim,
    Scenario,
    instant_at,
)
from clinics.management.demo.scene import HEIGHT_PX, WIDTH_PX, Painter
from clinics.management.demo.sound import (
    SAMPLES_PER_S,
    SIGNAL_S,
    soundtrack,
    speed_of_sound_m_per_s,
    write_wav,
)
from clinics.management.demo.tables import plan_toml, roster_csv, starts_csv, ties
from clinics.media.encode import EncoderOptions, encode_raw_frames

TRUTH_FORMAT = "sidelane-demo-truth/1"
VERSION = 3
"""Raised when the generator's output changes, so that an older folder is not taken for new."""
INVENTED_PLACE = "+40.0000-030.0000/"
"""A place tag in the deck camera's file, so that stripping it can be shown. It is open sea."""


class DemoFolderTaken(Exception):
    """The folder holds something else; nothing was written."""


@dataclass(frozen=True)
class Truth:
    """What was made: the folder, and the truth as it stands in its truth.json."""

    folder: Path
    data: dict[str, Any]

    def files_of(self, recording: dict[str, Any]) -> list[Path]:
        """The recording's source files, in order."""
        return [self.folder / file["path"] for file in recording["files"]]


def make_demo(out: Path, *, seed: int, short: bool) -> Truth:
    """Make the demo clinic in ``out``, whole or not at all.

    A folder that already holds the same demo is left as it is. Raises DemoFolderTaken if it holds
    anything else, and whatever the encoder complained of if that fails.
    """
    made = read_truth(out)
    if made is not None and _is_same(made.data, seed, short):
        return made
    if out.exists() and (not out.is_dir() or any(out.iterdir())):
        raise DemoFolderTaken(
            f"{out} is there and is not this demo (seed {seed}, {'short' if short else 'whole'}). "
            "Name another folder, or remove it first."
        )
    part = out.with_name(f"{out.name}.part-{os.getpid()}")
    part.mkdir(parents=True)
    try:
        _make_in(part, Scenario(seed, short))
        if out.exists():
            out.rmdir()
        part.rename(out)
    finally:
        shutil.rmtree(part, ignore_errors=True)
    return Truth(out, json.loads((out / "truth.json").read_text()))


def read_truth(folder: Path) -> Truth | None:
    """The truth of a demo that was made before, or None."""
    try:
        data = json.loads((folder / "truth.json").read_text())
    except (FileNotFoundError, NotADirectoryError, json.JSONDecodeError):
        return None
    return Truth(folder, data) if data.get("format") == TRUTH_FORMAT else None


def _is_same(data: dict[str, Any], seed: int, short: bool) -> bool:
    return (data["version"], data["seed"], data["short"]) == (VERSION, seed, short)


def _make_in(folder: Path, scenario: Scenario) -> None:
    """The recordings are made at once on all processors, the longest first."""
    order = sorted(scenario.recordings, key=lambda recording: -recording.frame_count)
    with ThreadPoolExecutor(max_workers=os.cpu_count() or 1) as pool:
        for _ in pool.map(lambda recording: _make_recording(folder, recording, scenario), order):
            pass
    (folder / "plan.toml").write_text(plan_toml(scenario))
    (folder / "roster.csv").write_text(roster_csv(scenario))
    (folder / "starts.csv").write_text(starts_csv(scenario))
    (folder / "ties.json").write_text(json.dumps(ties(scenario), indent=1))
    (folder / "truth.json").write_text(json.dumps(_truth(scenario)))


# Recordings


def _make_recording(folder: Path, recording: DemoRecording, scenario: Scenario) -> None:
    station_folder = folder / "media" / recording.station.slug
    station_folder.mkdir(parents=True, exist_ok=True)
    audio = station_folder / f"{recording.files[0]}.wav"
    if recording.station.hears_start:
        write_wav(audio, _sound_of(recording, scenario))
    try:
        encode_raw_frames(
            _drawn(recording, scenario),
            station_folder / _target_name(recording),
            width_px=WIDTH_PX,
            height_px=HEIGHT_PX,
            frames_per_s=recording.frames_per_s,
            options=_encoder_options(recording),
            audio=audio if recording.station.hears_start else None,
            pts_expression=VARIABLE_PTS_EXPRESSION if recording.variable else None,
        )
    finally:
        audio.unlink(missing_ok=True)
    _date_files(station_folder, recording)


def _drawn(recording: DemoRecording, scenario: Scenario) -> Iterator[memoryview]:
    figures = [swim.figure() for swim in scenario.swims]
    painter = Painter(recording.station.kind, figures, scenario.end_s)
    for clinic_s in recording.frame_clinic_s:
        frame = painter.draw(float(clinic_s))
        frame.paint_time(painted_value(float(clinic_s)))
        yield frame.block.data


def _sound_of(recording: DemoRecording, scenario: Scenario) -> np.ndarray:
    """The soundtrack at the true instants of this camera's samples."""
    samples = round(recording.duration_s * SAMPLES_PER_S)
    clinic_s = recording.zero_s + np.arange(samples) / SAMPLES_PER_S * recording.rate
    station = recording.station
    return soundtrack(
        clinic_s,
        signals=scenario.signals_at(station),
        splashes=scenario.splashes_at(station),
        rng=np.random.default_rng([scenario.seed, *recording.files[0].encode()]),
    )


def _target_name(recording: DemoRecording) -> str:
    return "%05d.MTS" if recording.split_frame else recording.files[0]


def _encoder_options(recording: DemoRecording) -> EncoderOptions:
    """As that kind of camera writes: codec, container, key frames, date, place."""
    options: EncoderOptions = {
        "c:v": "libx264",
        "preset": "superfast",
        "crf": 21,
        "pix_fmt": "yuv420p",
        "threads:v": 1,
        "g": SPLIT_EVERY_FRAMES,
        "sc_threshold": 0,
        "colorspace": "smpte170m",
        "color_range": "tv",
    }
    options |= {f"metadata:g:{i}": tag for i, tag in enumerate(_metadata(recording))}
    if recording.station.hears_start:
        options |= {"c:a": "aac", "b:a": "96k"}
    if recording.split_frame:
        return options | _split_options(recording, recording.split_frame)
    if recording.variable:
        options |= {"video_track_timescale": TICKS_PER_S}
    return options | {"movflags": "+faststart"}


def _split_options(recording: DemoRecording, split_frame: int) -> EncoderOptions:
    """A transport stream with AC-3 that goes on in a second file, its time stamps running on."""
    return {
        "c:a": "ac3",
        "b:a": "192k",
        "f": "segment",
        "segment_format": "mpegts",
        "segment_frames": split_frame,
        "segment_start_number": int(recording.files[0].split(".")[0]),
        "reset_timestamps": 0,
    }


def _metadata(recording: DemoRecording) -> list[str]:
    """What a camera writes about itself: its date, and one of them the place too."""
    tags = [f"creation_time={_camera_date(recording)}"]
    if recording.files[0].endswith(".MOV"):
        tags.append(f"location={INVENTED_PLACE}")
    return tags


def _camera_date(recording: DemoRecording) -> str:
    """What the camera believed when it began: whole seconds of its own wrong clock."""
    believed = instant_at(recording.zero_s + recording.station.clock_ahead_s)
    return believed.strftime("%Y-%m-%dT%H:%M:%SZ")


def _date_files(station_folder: Path, recording: DemoRecording) -> None:
    """File dates say when each file was ended, by the camera's own clock, as on its card."""
    for name, (_, end_s) in zip(recording.files, _file_spans_s(recording), strict=True):
        believed = instant_at(recording.zero_s + end_s + recording.station.clock_ahead_s)
        stamp = believed.replace(microsecond=0).timestamp()
        os.utime(station_folder / name, (stamp, stamp))


def _file_spans_s(recording: DemoRecording) -> list[tuple[float, float]]:
    """Media seconds from which and to which each file runs."""
    if recording.split_frame is None:
        return [(0.0, recording.duration_s)]
    split_s = float(recording.pts_ticks[recording.split_frame]) / TICKS_PER_S
    return [(0.0, split_s), (split_s, recording.duration_s)]


# Truth


def _truth(scenario: Scenario) -> dict[str, Any]:
    painters = _painters(scenario)
    return {
        "format": TRUTH_FORMAT,
        "version": VERSION,
        "seed": scenario.seed,
        "short": scenario.short,
        "club": CLUB_SLUG,
        "clinic": CLINIC_SLUG,
        "course_m": COURSE_M,
        "distance_m": DISTANCE_M,
        "air_temperature_c": AIR_TEMPERATURE_C,
        "speed_of_sound_m_per_s": speed_of_sound_m_per_s(AIR_TEMPERATURE_C),
        "starter": {"x_m": STARTER_M[0], "y_m": STARTER_M[1]},
        "signal": {"length_s": SIGNAL_S, "samples_per_s": SAMPLES_PER_S},
        "painted": {"epoch": _iso(0.0), "units_per_s": UNITS_PER_S},
        "ticks_per_s": TICKS_PER_S,
        "recordings": [_recording_truth(recording) for recording in scenario.recordings],
        "swims": [_swim_truth(swim, painters) for swim in scenario.swims],
    }


def _painters(scenario: Scenario) -> dict[str, Painter]:
    figures = [swim.figure() for swim in scenario.swims]
    return {s.slug: Painter(s.kind, figures, scenario.end_s) for s in STATIONS}


def _recording_truth(recording: DemoRecording) -> dict[str, Any]:
    station = recording.station
    split = recording.split_frame
    counts = [recording.frame_count] if split is None else [split, recording.frame_count - split]
    return {
        "station": station.slug,
        "camera": station.camera,
        "files": [
            {"name": name, "path": f"media/{station.slug}/{name}", "frames": count}
            for name, count in zip(recording.files, counts, strict=True)
        ],
        "zero_at": _iso(recording.zero_s),
        "zero_s": recording.zero_s,
        "rate_ppm": station.rate_ppm,
        "clock_ahead_s": station.clock_ahead_s,
        "creation_time": _camera_date(recording),
        "has_sound": station.hears_start,
        "sound_travel_ms": round(station.travel_s(*STARTER_M) * 1000, 3),
        "variable_rate": recording.variable,
        "fps_num": recording.frames_per_s.numerator,
        "fps_den": recording.frames_per_s.denominator,
        "frames": recording.frame_count,
        "pts_ticks": recording.pts_ticks.tolist(),
        "painted": [painted_value(float(clinic_s)) for clinic_s in recording.frame_clinic_s],
    }


def _swim_truth(swim: DemoSwim, painters: dict[str, Painter]) -> dict[str, Any]:
    go = swim.go
    return {
        "number": swim.swimmer.number,
        "swimmer": swim.swimmer.name,
        "lane_group": swim.swimmer.lane_group,
        "start_at": _iso(swim.start_s),
        "start_s": swim.start_s,
        "tapped_at": _iso(swim.tap_s),
        "tap_late_ms": round((swim.tap_s - swim.start_s) * 1000, 3),
        "duration_s": go.duration_s,
        "events_s": {
            "leave": round(go.leave_s, 4),
            "entry": round(go.entry_s, 4),
            "breakout": round(go.breakout_s, 4),
            "feet_touch": round(go.feet_touch_s, 4),
            "feet_leave": round(go.feet_leave_s, 4),
            "second_breakout": round(go.second_breakout_s, 4),
            "finish": go.duration_s,
        },
        "stations": [_passes(swim, slug, painter) for slug, painter in painters.items()],
    }


def _passes(swim: DemoSwim, slug: str, painter: Painter) -> dict[str, Any]:
    """The passes as the plan counts them, and when the hips are in picture (swim seconds).

    The start side's one pass is the start, the deck's goes along from there; the others are the
    instants at which the hips go by, or the feet touch the turn wall.
    """
    station = next(station for station in STATIONS if station.slug == slug)
    from_start = station.kind in ("start-side", "deck")
    passes_s = [0.0] if from_start else swim.go.passes_s(station.x_m)
    return {
        "station": slug,
        "passes": [
            {"pass": i, "swim_s": round(s, 4), "at": _iso(swim.start_s + s)}
            for i, s in enumerate(passes_s, 1)
        ],
        "in_picture_s": painter.in_picture_s(swim.figure()),
    }


def _iso(clinic_s: float) -> str:
    return (EPOCH + timedelta(microseconds=round(clinic_s * 1e6))).isoformat(
        timespec="microseconds"
    )
