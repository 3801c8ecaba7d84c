"""The truth of a demo clinic: what was imposed on its files, as plain data beside them."""

from __future__ import annotations

from typing import Any

from clinics.management.demo.motion import COURSE_M, GONE_S, Go
from clinics.management.demo.occasions import CLUB_SLUG, DemoClinic, DemoStation
from clinics.management.demo.painted import UNITS_PER_S, painted_value
from clinics.management.demo.recordings import camera_date
from clinics.management.demo.scenario import TICKS_PER_S, DemoRecording, DemoSwim, Scenario
from clinics.management.demo.scene import Painter
from clinics.management.demo.sound import SAMPLES_PER_S, SIGNALS, speed_of_sound_m_per_s

TRUTH_FORMAT = "sidelane-demo-truth/1"


def truth_of(scenario: Scenario, version: int) -> dict[str, Any]:
    """Everything that was imposed, for whoever judges what was found."""
    clinic = scenario.clinic
    painters = {
        s.slug: Painter(s.kind, scenario.figures(), scenario.end_s) for s in clinic.stations
    }
    signal = SIGNALS[clinic.signal]
    return {
        "format": TRUTH_FORMAT,
        "version": version,
        "seed": scenario.seed,
        "short": scenario.short,
        "club": CLUB_SLUG,
        "clinic": clinic.slug,
        "course_m": COURSE_M,
        "distance_m": clinic.distance_m,
        "air_temperature_c": clinic.air_temperature_c,
        "speed_of_sound_m_per_s": speed_of_sound_m_per_s(clinic.air_temperature_c),
        "starter": {"x_m": clinic.starter_m[0], "y_m": clinic.starter_m[1]},
        "signal": {
            "name": signal.name,
            "length_s": signal.length_s,
            "samples_per_s": SAMPLES_PER_S,
        },
        "emissions": [
            {
                "at": _iso(clinic, one.emitted_s),
                "emitted_s": one.emitted_s,
                "swimmer": one.number,
                "x_m": one.x_m,
                "y_m": one.y_m,
            }
            for one in scenario.emissions()
        ],
        "painted": {"epoch": _iso(clinic, 0.0), "units_per_s": UNITS_PER_S},
        "ticks_per_s": TICKS_PER_S,
        "recordings": [_recording_truth(recording, clinic) for recording in scenario.recordings],
        "swims": [_swim_truth(swim, clinic, painters) for swim in scenario.swims],
    }


def _recording_truth(recording: DemoRecording, clinic: DemoClinic) -> dict[str, Any]:
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
        "zero_at": _iso(clinic, recording.zero_s),
        "zero_s": recording.zero_s,
        "rate_ppm": station.rate_ppm,
        "clock_ahead_s": station.clock_ahead_s,
        "creation_time": camera_date(recording, clinic),
        "has_sound": station.hears_start,
        "sound_travel_ms": round(clinic.travel_s(station, clinic.starter_m) * 1000, 3),
        "variable_rate": station.variable,
        "fps_num": recording.frames_per_s.numerator,
        "fps_den": recording.frames_per_s.denominator,
        "frames": recording.frame_count,
        "pts_ticks": recording.pts_ticks.tolist(),
        "painted": [painted_value(float(clinic_s)) for clinic_s in recording.frame_clinic_s],
    }


def _swim_truth(swim: DemoSwim, clinic: DemoClinic, painters: dict[str, Painter]) -> dict[str, Any]:
    go, tap_s = swim.go, swim.tap_s
    return {
        "number": swim.swimmer.number,
        "swimmer": swim.swimmer.name,
        "lane_group": swim.swimmer.lane_group,
        "filmed": swim.swimmer.filmed,
        "start_at": _iso(clinic, swim.start_s),
        "start_s": swim.start_s,
        "tapped_at": None if tap_s is None else _iso(clinic, tap_s),
        "tap_late_ms": None if tap_s is None else round((tap_s - swim.start_s) * 1000, 3),
        "duration_s": go.duration_s,
        "in_hall_s": [round(go.appears_s, 4), round(go.duration_s + GONE_S, 4)],
        "events_s": _events(go),
        "stations": [
            _passes(swim, clinic, station, painters[station.slug]) for station in clinic.stations
        ],
    }


def _events(go: Go) -> dict[str, float]:
    events = {"leave": go.leave_s, "entry": go.entry_s, "breakout": go.breakout_s}
    for number, turn in enumerate(go.turns, start=1):
        events[f"turn_{number}_feet_touch"] = turn.feet_touch_s
        events[f"turn_{number}_feet_leave"] = turn.feet_leave_s
        events[f"turn_{number}_breakout"] = turn.breakout_s
    events["finish"] = go.duration_s
    return {name: round(at_s, 4) for name, at_s in events.items()}


def _passes(
    swim: DemoSwim, clinic: DemoClinic, station: DemoStation, painter: Painter
) -> dict[str, Any]:
    """The passes as the plan counts them, and when the hips are in picture (swim seconds).

    The start side's first pass is the start, then each turn there; the deck's one goes along from
    the start; the others are the instants at which the hips go by, or the feet touch the wall.
    """
    passes_s = {
        "start-side": [0.0, *swim.go.turns_at(far=False)],
        "deck": [0.0],
    }.get(station.kind) or swim.go.passes_s(station.x_m)
    return {
        "station": station.slug,
        "passes": [
            {"pass": i, "swim_s": round(s, 4), "at": _iso(clinic, swim.start_s + s)}
            for i, s in enumerate(passes_s, 1)
        ],
        "in_picture_s": painter.in_picture_s(swim.figure()),
    }


def _iso(clinic: DemoClinic, clinic_s: float) -> str:
    return clinic.instant_at(clinic_s).isoformat(timespec="microseconds")
