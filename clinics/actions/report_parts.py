"""A clinic's recordings, swims and clips as plain data with stable names.

Times are ISO 8601 in UTC with microseconds. `u_ms` of a recording is relative to the clinic's
other recordings. Read by whoever runs the server: no fence stands before it.
"""

from __future__ import annotations

from typing import Any

from clinics.actions.consent import swims_not_cut
from clinics.compute.time import iso_utc, ticks_to_media_s
from clinics.models import Clinic, Clip, ClipFile, ClockFit, Recording, Swim


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
        "window_by": row.window_by,
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
