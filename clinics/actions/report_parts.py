"""A clinic's recordings, swims and clips as plain data with stable names.

Times are ISO 8601 in UTC with microseconds. `u_ms` of a recording is relative to the clinic's
other recordings. Read by whoever runs the server: no fence stands before it.
"""

from __future__ import annotations

from collections import Counter
from typing import Any

from clinics.actions.consent import swims_not_cut
from clinics.actions.cut import left_out
from clinics.actions.progress import progress_of
from clinics.compute.time import iso_utc, ticks_to_media_s
from clinics.models import (
    Clinic,
    ClinicClock,
    Clip,
    ClipFile,
    ClockFit,
    DroppedSpan,
    Recording,
    Swim,
)


def clinic_part(clinic: Clinic) -> dict[str, Any]:
    return {
        "slug": clinic.slug,
        "name": clinic.name,
        "club": clinic.club.slug,
        "venue": clinic.venue,
        "date": clinic.date.isoformat(),
        "time_zone": clinic.time_zone,
        "course_m": clinic.course_m,
        "distance_m": clinic.distance_m,
        "state": clinic.state,
    }


def clock_part(clinic: Clinic) -> dict[str, Any]:
    """What one fit of all recordings found out about the clinic as a whole."""
    clock = ClinicClock.objects.filter(clinic=clinic).first() or ClinicClock(clinic=clinic)
    return {
        "taps_late_ms": clock.taps_late_ms,
        "taps_late_u_ms": clock.taps_late_u_ms,
        "signal": clock.signal,
        "notes": clock.notes,
    }


def progress_part(clinic: Clinic) -> dict[str, Any]:
    """How far the work is; `seconds_left` is null when nothing is under way or not known."""
    found = progress_of(clinic)
    seconds_left = found.seconds_left
    return {
        "clips_made": found.clips_done,
        "clips_failed": found.clips_failed,
        "clips": found.clips_total,
        "minutes_made": found.minutes_cut,
        "minutes": found.minutes_total,
        "first_ready_at": iso_utc(found.first_ready_at),
        "recordings_being_read": found.reading,
        "recordings_being_looked_through": found.looking,
        "aligning": found.aligning,
        "stopped": found.stopped,
        "more_to_come": found.more_to_come,
        "seconds_left": None if seconds_left is None else round(seconds_left, 1),
    }


def left_out_part(clinic: Clinic, *, coarse_too: bool = False) -> list[dict[str, Any]]:
    """Passes without a clip at a station that filmed, and why: not-recorded, no-clock,
    only-file-date, or dropped (somebody swam who has not agreed to be filmed)."""
    return [
        {
            "swim": str(one.swim.pk),
            "number": one.swim.entry.number,
            "swimmer": one.swim.entry.swimmer.name,
            "go": one.swim.go,
            "station": one.station.slug,
            "pass": one.pass_no,
            "why": one.why,
        }
        for one in left_out(clinic, coarse_too=coarse_too)
    ]


def dropped_part(clinic: Clinic) -> list[dict[str, Any]]:
    """Spans of recordings that nobody sees, as the last plan of the cuts kept them."""
    rows = DroppedSpan.objects.filter(recording__station__clinic=clinic)
    rows = rows.select_related("recording__station", "log_entry__entry")
    return [
        {
            "recording": str(row.recording_id),
            "station": row.recording.station.slug,
            "from_media_s": round(ticks_to_media_s(row.from_ticks), 6),
            "to_media_s": round(ticks_to_media_s(row.to_ticks), 6),
            "started_at": iso_utc(row.log_entry.instant) if row.log_entry else None,
            "outcome": row.log_entry.outcome if row.log_entry else None,
        }
        for row in rows.order_by("recording__station__order", "recording", "from_ticks")
    ]


def recordings_part(clinic: Clinic) -> list[dict[str, Any]]:
    rows = (
        Recording.objects.filter(station__clinic=clinic)
        .select_related("station", "camera", "clock_fit")
        .prefetch_related("files", "ties")
    )
    return [_recording(row) for row in rows]


def _recording(row: Recording) -> dict[str, Any]:
    fit: ClockFit | None = getattr(row, "clock_fit", None)
    return {
        "id": str(row.pk),
        "station": row.station.slug,
        "camera": row.camera.name,
        "files": [{"name": file.name, "sha256": file.sha256} for file in row.files.all()],
        "recording_state": row.state,
        "duration_s": row.duration_s,
        "frames": row.frame_count,
        "zero_at": iso_utc(fit.zero_at) if fit else None,
        "rate_ppm": fit.rate_ppm if fit and fit.zero_at else None,
        "u_ms": fit.u_ms if fit else None,
        "state": fit.state if fit else ClockFit.State.NOT_FOUND.value,
        "method": fit.method if fit else "none",
        "reason": fit.reason if fit else "",
        "ties": fit.tie_count if fit else 0,
        "tie_kinds": dict(Counter(tie.kind for tie in row.ties.all() if not tie.set_aside)),
        "camera_ppm": fit.camera_ppm if fit and fit.zero_at else None,
        "slow_motion": row.slow_motion,
        "u_begin_ms": fit.u_begin_ms if fit else None,
        "u_mid_ms": fit.u_mid_ms if fit else None,
        "u_end_ms": fit.u_end_ms if fit else None,
        "false_match_p": fit.false_match_p if fit else None,
        "candidates": fit.candidates if fit else [],
    }


def swims_part(clinic: Clinic) -> list[dict[str, Any]]:
    rows = Swim.objects.filter(entry__clinic=clinic).select_related("entry__swimmer", "log_entry")
    left_out = set(swims_not_cut(clinic).values_list("pk", flat=True))
    return [
        {
            "id": str(row.pk),
            "number": row.entry.number,
            "swimmer": row.entry.swimmer.name,
            "go": row.go,
            "agrees": row.pk not in left_out,
            "start_at": iso_utc(row.start_at),
            "start_kind": row.start_kind,
            "start_u_ms": row.start_u_ms,
            "tapped_at": iso_utc(row.log_entry.instant) if row.log_entry else None,
            "person": row.person,
            "passed_at": iso_utc(row.passed_at),
            "given_at": iso_utc(row.given_at),
        }
        for row in rows
    ]


def clips_part(clinic: Clinic) -> list[dict[str, Any]]:
    """Every clip with its window and the span in picture, and what is missing of that."""
    rows = (
        Clip.objects.filter(swim__entry__clinic=clinic)
        .select_related("swim__entry__swimmer", "station")
        .prefetch_related("files__stored", "files__pts_table")
    )
    return [_clip(row) for row in rows]


def _clip(row: Clip) -> dict[str, Any]:
    return {
        "id": str(row.pk),
        "swim": str(row.swim_id),
        "number": row.swim.entry.number,
        "swimmer": row.swim.entry.swimmer.name,
        "go": row.swim.go,
        "station": row.station.slug,
        "pass": row.pass_no,
        "recording": str(row.recording_id),
        "in_media_s": round(ticks_to_media_s(row.in_ticks), 6),
        "out_media_s": round(ticks_to_media_s(row.out_ticks), 6),
        "first_frame": row.first_frame,
        "frames": row.frame_count,
        "seen_from_s": row.seen_from_s,
        "seen_to_s": row.seen_to_s,
        "seen_by": row.seen_by,
        "window_by": row.window_by,
        "missing_before_s": row.missing_before_s,
        "missing_after_s": row.missing_after_s,
        "missing_by": row.missing_by,
        "time_state": row.time_state,
        "state": row.state,
        "reason": row.reason,
        "renditions": [_rendition(file) for file in row.files.all() if file.kind == "video"],
    }


def _rendition(file: ClipFile) -> dict[str, Any]:
    return {
        "height": file.height,
        "width": file.width,
        "path": file.stored.name,
        "sha256": file.stored.sha256,
        "pts_table": file.pts_table.name if file.pts_table else None,
    }
