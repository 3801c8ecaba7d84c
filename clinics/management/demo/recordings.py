"""One demo recording as a file that such a camera writes: pictures, sound, container, dates."""

from __future__ import annotations

import os
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import numpy as np

from clinics.management.demo.occasions import DemoClinic
from clinics.management.demo.painted import painted_value
from clinics.management.demo.scenario import (
    SPLIT_EVERY_FRAMES,
    TICKS_PER_S,
    VARIABLE_PTS_EXPRESSION,
    DemoRecording,
    Scenario,
)
from clinics.management.demo.scene import Painter
from clinics.management.demo.sound import SAMPLES_PER_S, SIGNALS, soundtrack, write_wav
from clinics.management.demo.sprites import HEIGHT_PX, WIDTH_PX
from clinics.media.encode import EncoderOptions, encode_raw_frames

INVENTED_PLACE = "+40.0000-030.0000/"
"""A place tag in the deck camera's file, so that stripping it can be shown. It is open sea."""
COPIED_LATER = timedelta(days=2)


def make_recording(folder: Path, recording: DemoRecording, scenario: Scenario) -> None:
    """Draw, sound and encode one recording into its station's folder."""
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
            options=_encoder_options(recording, scenario.clinic),
            audio=audio if recording.station.hears_start else None,
            pts_expression=VARIABLE_PTS_EXPRESSION if recording.station.variable else None,
        )
    finally:
        audio.unlink(missing_ok=True)
    _date_files(station_folder, recording, scenario.clinic)


def _drawn(recording: DemoRecording, scenario: Scenario) -> Iterator[memoryview]:
    painter = Painter(recording.station.kind, scenario.figures(), scenario.end_s)
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
        signal=SIGNALS[scenario.clinic.signal],
        starts=scenario.signals_at(station),
        splashes=scenario.splashes_at(station),
        calls=scenario.calls_at(station),
        rng=np.random.default_rng([scenario.seed, *recording.files[0].encode()]),
    )


def _target_name(recording: DemoRecording) -> str:
    return "%05d.MTS" if recording.split_frame else recording.files[0]


def _encoder_options(recording: DemoRecording, clinic: DemoClinic) -> EncoderOptions:
    """As that kind of camera writes: codec, container, key frames, date, place."""
    options: EncoderOptions = {
        "c:v": "libx264",
        "preset": "ultrafast",
        "bf": 2,
        "crf": 24,
        "pix_fmt": "yuv420p",
        "threads:v": 1,
        "g": SPLIT_EVERY_FRAMES,
        "sc_threshold": 0,
        "colorspace": "smpte170m",
        "color_range": "tv",
    }
    options |= {f"metadata:g:{i}": tag for i, tag in enumerate(_metadata(recording, clinic))}
    if recording.station.hears_start:
        options |= {"c:a": recording.station.sound_codec}
        if not recording.station.sound_codec.startswith("pcm"):
            options |= {"b:a": "192k" if recording.split_frame else "96k"}
    if recording.split_frame:
        return options | _split_options(recording, recording.split_frame)
    if recording.files[0].endswith(".TS"):
        return options | {"f": "mpegts"}
    if recording.station.variable:
        options |= {"video_track_timescale": TICKS_PER_S}
    return options | {"movflags": "+faststart"}


def _split_options(recording: DemoRecording, split_frame: int) -> EncoderOptions:
    """A transport stream that goes on in a second file, its time stamps running on."""
    return {
        "f": "segment",
        "segment_format": "mpegts",
        "segment_frames": split_frame,
        "segment_start_number": int(recording.files[0].split(".")[0]),
        "reset_timestamps": 0,
    }


def _metadata(recording: DemoRecording, clinic: DemoClinic) -> list[str]:
    """What a camera writes about itself: its date, and one of them the place too."""
    date = camera_date(recording, clinic)
    if date is None:
        return []
    tags = [f"creation_time={date}"]
    if recording.files[0].endswith(".MOV"):
        tags.append(f"location={INVENTED_PLACE}")
    return tags


def camera_date(recording: DemoRecording, clinic: DemoClinic) -> str | None:
    """What the camera believed when it began: whole seconds of its own wrong clock, or nothing."""
    if not clinic.dated_files:
        return None
    believed = clinic.instant_at(recording.zero_s + recording.station.clock_ahead_s)
    return believed.strftime("%Y-%m-%dT%H:%M:%SZ")


def _date_files(station_folder: Path, recording: DemoRecording, clinic: DemoClinic) -> None:
    """File dates say when each file was ended, by the camera's own clock, as on its card.

    Where nothing is dated they are all the same, as after a copy.
    """
    for name, (_, end_s) in zip(recording.files, _file_spans_s(recording), strict=True):
        ended_s = recording.zero_s + end_s + recording.station.clock_ahead_s
        believed = clinic.instant_at(ended_s) if clinic.dated_files else clinic.epoch + COPIED_LATER
        stamp = believed.replace(microsecond=0).timestamp()
        os.utime(station_folder / name, (stamp, stamp))


def _file_spans_s(recording: DemoRecording) -> list[tuple[float, float]]:
    """Media seconds from which and to which each file runs."""
    if recording.split_frame is None:
        return [(0.0, recording.duration_s)]
    split_s = float(recording.pts_ticks[recording.split_frame]) / TICKS_PER_S
    return [(0.0, split_s), (split_s, recording.duration_s)]
