"""The demo clinic's papers, in the open formats that a real clinic would be handed in with."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Sequence
from zoneinfo import ZoneInfo

from clinics.management.demo.cast import TEAM, mail_of
from clinics.management.demo.motion import COURSE_M
from clinics.management.demo.occasions import CLUB_SLUG, TIME_ZONE, VENUE, DemoStation
from clinics.management.demo.scenario import (
    SHORT_PACE_S_PER_100M,
    TICKS_PER_S,
    DemoRecording,
    DemoSwim,
    Scenario,
)

TIES_FORMAT = "sidelane-ties/1"


def plan_toml(scenario: Scenario) -> str:
    """The plan file."""
    clinic = scenario.clinic
    parts = [_clinic_table(scenario)]
    parts += [_team_table(name, duty) for name, duty in TEAM]
    parts += [_station_table(station, scenario) for station in clinic.stations]
    groups = enumerate(clinic.lane_groups, start=1)
    parts += [f'[[lane_group]]\nname = "{name}"\norder = {i}\n' for i, name in groups]
    return "\n".join(parts)


def _team_table(name: str, duty: str) -> str:
    return f'[[team]]\nemail = "{mail_of(name)}"\nname = "{name}"\nduty = "{duty}"\n'


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
    zone = ZoneInfo(TIME_ZONE)
    rows = []
    for swim in scenario.swims:
        if swim.tap_s is None:
            continue
        local = scenario.clinic.instant_at(swim.tap_s).astimezone(zone).replace(tzinfo=None)
        outcome = "away" if swim.swimmer.filmed else "not-filmed"
        rows.append((local.isoformat(timespec="milliseconds"), swim.swimmer.number, outcome, ""))
    return _csv("instant,swimmer,outcome,note", rows)


def ties(scenario: Scenario) -> dict[str, object]:
    """The ties that a careful person would place.

    One for each recording that hears nothing, all the others align by themselves; in the short
    version, whose two starts are no pattern, the first and last start in each recording.

    `media_s` and `ticks` are those of the first frame at or after the instant is seen or heard,
    so half a frame interval is still to be taken off; `clinic_at` is the true emission of that
    swim's start signal, which the person placing the tie would not know.
    """
    rows = []
    for recording in scenario.recordings:
        covered = [s for s in scenario.swims if s.tap_s and recording.covers(s.start_s)]
        if scenario.short:
            chosen = [covered[0], covered[-1]] if len(covered) > 1 else covered
        else:
            chosen = [] if recording.station.hears_start else covered[len(covered) // 2 :][:1]
        if chosen:
            rows.append(_ties_of(recording, chosen, scenario))
    return {"format": TIES_FORMAT, "clinic": scenario.clinic.slug, "recordings": rows}


def _ties_of(
    recording: DemoRecording, swims: Sequence[DemoSwim], scenario: Scenario
) -> dict[str, object]:
    return {
        "station": recording.station.slug,
        "camera": recording.station.camera,
        "files": list(recording.files),
        "ties": [_tie(recording, swim, scenario) for swim in swims],
    }


def _tie(recording: DemoRecording, swim: DemoSwim, scenario: Scenario) -> dict[str, object]:
    """By the lamp where it is in picture, else by the signal in the sound."""
    heard = recording.station.kind == "turn-window"
    travel_s = scenario.clinic.travel_s(recording.station, scenario.clinic.starter_m)
    seen_s = swim.start_s + (travel_s if heard else 0.0)
    frame = recording.first_frame_at(seen_s)
    ticks = int(recording.pts_ticks[frame])
    return {
        "kind": "start-heard" if heard else "start-seen",
        "swimmer": swim.swimmer.number,
        "frame": frame,
        "ticks": ticks,
        "media_s": round(ticks / TICKS_PER_S, 6),
        "clinic_at": scenario.clinic.instant_at(swim.start_s).isoformat(timespec="microseconds"),
        "u_ms": round(1000 / float(recording.frames_per_s) / math.sqrt(12), 1),
    }


def _clinic_table(scenario: Scenario) -> str:
    clinic = scenario.clinic
    x_m, y_m = clinic.starter_m
    return (
        'format = "sidelane-plan/1"\n\n[clinic]\n'
        f'slug = "{clinic.slug}"\nname = "{clinic.name}"\nclub = "{CLUB_SLUG}"\n'
        f'venue = "{VENUE}"\ndate = {clinic.epoch.date().isoformat()}\n'
        f'time_zone = "{TIME_ZONE}"\n'
        f"course_m = {COURSE_M:g}\ndistance_m = {clinic.distance_m:g}\n"
        f"air_temperature_c = {clinic.air_temperature_c:g}\n"
        'give = "with_feedback"\nroster = "roster.csv"\n\n'
        f"[starter]\nx_m = {x_m}\ny_m = {y_m}\n"
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
