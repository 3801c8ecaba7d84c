"""The report of a clinic: what was filmed, how sure its times are, what was made of it."""

from __future__ import annotations

from typing import Any

from clinics.actions.report_parts import (
    clinic_part,
    clips_part,
    clock_part,
    dropped_part,
    left_out_part,
    progress_part,
    recordings_part,
    swims_part,
)
from clinics.compute.time import iso_utc
from clinics.models import Clinic, Swim
from feedback.actions.measured import measured_many
from feedback.actions.measured_rows import rows_of
from feedback.models import Comment, FeedbackSent, Mark


def report_of(*, clinic: Clinic) -> dict[str, Any]:
    """One clinic's report; the names of its fields are stable."""
    swims = swims_part(clinic)
    said, sent, measured = _said(clinic), _sent(clinic), _measured(clinic)
    return {
        "clinic": clinic_part(clinic),
        "recordings": recordings_part(clinic),
        "swims": [
            {
                **swim,
                "comments": said.get(swim["id"], 0),
                "feedback_sent_at": sent.get(swim["id"]),
                "measures": measured.get(swim["id"], []),
            }
            for swim in swims
        ],
        "clips": clips_part(clinic),
        "left_out": left_out_part(clinic),
        "dropped": dropped_part(clinic),
        "clock": clock_part(clinic),
        "progress": progress_part(clinic),
    }


def _said(clinic: Clinic) -> dict[str, int]:
    """How many comments and replies were sent on each swim; not what they say."""
    rows = Comment.objects.filter(swim__entry__clinic=clinic, sent_at__isnull=False)
    said: dict[str, int] = {}
    for swim_id in rows.values_list("swim_id", flat=True):
        said[str(swim_id)] = said.get(str(swim_id), 0) + 1
    return said


def _measured(clinic: Clinic) -> dict[str, list[dict[str, Any]]]:
    """What can be told from the marks of each swim, with its ± (measured_rows)."""
    swims = list(Swim.objects.filter(entry__clinic=clinic).select_related("entry__clinic__club"))
    found = measured_many(swims, Mark.objects.filter(swim__entry__clinic=clinic))
    return {str(pk): list(rows_of(measured)) for pk, measured in found.items()}


def _sent(clinic: Clinic) -> dict[str, str | None]:
    """When feedback on each swim was sent last; not what it says."""
    rows = FeedbackSent.objects.filter(swim__entry__clinic=clinic).order_by("sent_at")
    return {str(pk): iso_utc(at) for pk, at in rows.values_list("swim_id", "sent_at")}
