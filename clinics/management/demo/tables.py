"""The demo clinic's papers, in the open formats that a real clinic would be handed in with."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Sequence
from zoneinfo import ZoneInfo

from clinics.management.demo.motion import COURSE_M
from clinics.management.demo.scenario import (
    AIR_TEMPERATURE_C,
    CLINIC_SLUG,
    CLUB_SLUG,
    DISTANCE_M,
    EPOCH,
    MAIL_DOMAIN,
    SHORT_PACE_S_PER_100M,
    STARTER_M,
    STATIONS,
    TEAM,
    TICKS_PER_S,
    TIME_ZONE,
    VENUE,
    DemoRecording,
    DemoStation,
    DemoSwim,
    Scenario,
    instant_at,
)

TIES_FORMAT = "sidelane-ties/1"


def plan_toml(scenario: Scenario) -> str:
    """The plan file."""
    parts = [_clinic_table()]
    parts += [_team_table(name, duty) for name, duty in TEAM]
    parts += [_station_table(station, scenario) for station in STATIONS]
    parts += [f'[[lane_group]]\nname = "{name}"\norder = {i}\n' for i, name in enumerate("AB", 1)]
    return "\n".join(parts)


def _team_table(name: str, duty: str) -> str:
    address = f"{name.lower().replace(' ', '.')}@{MAIL_DOMAIN}"
    return f'[[team]]\nemail = "{address}"\nname = "{name}"\nduty = "{duty}"\n'


def roster_csv(scenario: Scenario) -> str:
    """Who swims, in running order."""
    columns = "number,name,email,adult,stroke,pace_s_per_100m,lane_group,start"
    rows = []
    for swim in scenario.swims:
        who = swim.swimmer
        pace_s = SHORT_PACE_S_PER_100M if scenario.short else who.pace_s_per_100m
        row = (who.number, who.name, who.email, "yes", who.stroke, f"{pace_s:g}")
        rows.append((*row, who.lane_group, who.start))
    return _csv(columns, rows)


def starts_csv(scenario: Scenario) -> str:
    """The start log as tapped: late by a fifth of a second, in the pool's own time of day."""
    rows = []
    for swim in scenario.swims:
        local = instant_at(swim.tap_s).astimezone(ZoneInfo(TIME_ZONE)).replace(tzinfo=None)
        rows.append((local.isoformat(timespec="milliseconds"), swim.swimmer.number, "away", ""))
    return _csv("instant,swimmer,outcome,note", rows)


def ties(scenario: Scenario) -> dict[str, object]:
    """The ties that a careful person would place: first and last start in each recording.

    `media_s` and `ticks` are those of the first frame at or after the instant is seen or heard,
    so half a frame interval is still to be taken off; `clinic_at` is the true emission of that
    swim's start signal, which the person placing the tie would not know.
    """
    rows = [_ties_of(recording, scenario) for recording in scenario.recordings]
    return {"format": TIES_FORMAT, "clinic": CLINIC_SLUG, "recordings": rows}


def _ties_of(recording: DemoRecording, scenario: Scenario) -> dict[str, object]:
    covered = [swim for swim in scenario.swims if recording.covers(swim.start_s)]
    chosen = [covered[0], covered[-1]] if len(covered) > 1 else covered
    return {
        "station": recording.station.slug,
        "camera": recording.station.camera,
        "files": list(recording.files),
        "ties": [_tie(recording, swim) for swim in chosen],
    }


def _tie(recording: DemoRecording, swim: DemoSwim) -> dict[str, object]:
    """By the lamp where it is in picture, else by the signal in the sound."""
    heard = recording.station.kind == "turn-window"
    seen_s = swim.start_s + (recording.station.travel_s(*STARTER_M) if heard else 0.0)
    frame = recording.first_frame_at(seen_s)
    ticks = int(recording.pts_ticks[frame])
    return {
        "kind": "start-heard" if heard else "start-seen",
        "swimmer": swim.swimmer.number,
        "frame": frame,
        "ticks": ticks,
        "media_s": round(ticks / TICKS_PER_S, 6),
        "clinic_at": instant_at(swim.start_s).isoformat(timespec="microseconds"),
        "u_ms": round(1000 / float(recording.frames_per_s) / math.sqrt(12), 1),
    }


def _clinic_table() -> str:
    return (
        'format = "sidelane-plan/1"\n\n[clinic]\n'
        f'slug = "{CLINIC_SLUG}"\nname = "Autumn clinic"\nclub = "{CLUB_SLUG}"\n'
        f'venue = "{VENUE}"\ndate = {EPOCH.date().isoformat()}\ntime_zone = "{TIME_ZONE}"\n'
        f"course_m = {COURSE_M:g}\ndistance_m = {DISTANCE_M:g}\n"
        f"air_temperature_c = {AIR_TEMPERATURE_C:g}\n"
        'give = "with_feedback"\nroster = "roster.csv"\n\n'
        f"[starter]\nx_m = {STARTER_M[0]}\ny_m = {STARTER_M[1]}\n"
    )


def _station_table(station: DemoStation, scenario: Scenario) -> str:
    lines = [
        "[[station]]",
        f'slug = "{station.slug}"',
        f'name = "{station.name}"',
        f'kind = "{station.kind}"',
        f"x_m = {station.x_m}",
        f"y_m = {station.y_m}",
        f"z_m = {station.z_m}",
        f"hears_start = {str(station.hears_start).lower()}",
    ]
    windows = _windows(station, scenario)
    if windows:
        lines.append(f"windows = [{windows}]")
    return "\n".join([*lines, f'camera = "{station.camera}"']) + "\n"


def _windows(station: DemoStation, scenario: Scenario) -> str:
    """Named where pace says little: the start, and the deck camera that follows a whole go."""
    before_s = 2.0 if scenario.short else 5.5
    if station.kind == "start-side":
        return f"{{ pass = 1, from_s = -{before_s}, to_s = 8.0 }}"
    if station.kind == "deck":
        whole_s = math.ceil(max(swim.go.duration_s for swim in scenario.swims))
        return f"{{ pass = 1, from_s = -1.0, to_s = {whole_s:.1f} }}"
    return ""


def _csv(columns: str, rows: Sequence[Sequence[object]]) -> str:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(columns.split(","))
    writer.writerows(rows)
    return text.getvalue()
