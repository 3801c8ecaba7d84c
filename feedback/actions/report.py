"""The report of a clinic: what was filmed, how sure its times are, what was made of it."""

from __future__ import annotations

from typing import Any

from clinics.actions.report_parts import clinic_part, clips_part, recordings_part, swims_part
from clinics.models import Clinic
from feedback.models import Comment


def report_of(*, clinic: Clinic) -> dict[str, Any]:
    """One clinic's report; the names of its fields are stable."""
    swims = swims_part(clinic)
    said = _said(clinic)
    return {
        "clinic": clinic_part(clinic),
        "recordings": recordings_part(clinic),
        "swims": [{**swim, "comments": said.get(swim["id"], 0)} for swim in swims],
        "clips": clips_part(clinic),
    }


def _said(clinic: Clinic) -> dict[str, int]:
    """How many comments and replies were sent on each swim; not what they say."""
    rows = Comment.objects.filter(swim__entry__clinic=clinic, sent_at__isnull=False)
    said: dict[str, int] = {}
    for swim_id in rows.values_list("swim_id", flat=True):
        said[str(swim_id)] = said.get(str(swim_id), 0) + 1
    return said
