"""The certificate of an erasure: what was deleted and how each was checked. It names nobody."""

from __future__ import annotations

from typing import Any

from portal.actions.erase import Goes, steps
from portal.models import PersonRequest


def as_json(request: PersonRequest) -> dict[str, Any]:
    """With opaque ids only; what the files were called is not in it."""
    told: dict[str, Any] = request.certificate
    return {
        "schema": told.get("schema"),
        "request": str(request.pk),
        "club": request.club.name,
        "asked_at": request.made_at.isoformat(),
        "begun_at": told.get("begun_at"),
        "checked_at": told.get("checked_at"),
        "deleted": told.get("rows", {}),
        "kept_without_a_name": told.get("kept", {}),
        "files": told.get("files", []),
    }


def in_words(request: PersonRequest) -> dict[str, Any]:
    """For the page: lines of what went and of what stays, and the files in sum."""
    told: dict[str, Any] = request.certificate
    files = told.get("files", [])
    return {
        "goes": _lines(told.get("rows", {})),
        "stays": _lines(told.get("kept", {})),
        "file_count": len(files),
        "file_bytes": sum(file["bytes"] for file in files),
    }


def _lines(counts: dict[str, int]) -> list[Goes]:
    labels = {sort: label for step in steps() for sort, label in step.labels.items()}
    return [Goes(labels.get(sort, sort), count) for sort, count in counts.items()]
