"""A recording that its camera stretched to slow motion, and by which factor."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from django.db import transaction

from clinics.actions.errors import BadInput
from clinics.actions.errors import say as _
from clinics.models import Clinic, Recording
from portal.actions.audit import record

if TYPE_CHECKING:
    from portal.models import User

LEAST, MOST = 1.0, 40.0


@transaction.atomic
def set_slow_motion(*, recording: Recording, factor: float, by: User | None) -> bool:
    """Say how many seconds of the recording the camera made of one second (1: none), and ask
    to fit the clocks anew. The same factor again changes nothing; returns whether it changed."""
    from clinics.actions.align import ask_to_align  # aligning reads the factor
    from clinics.actions.slate import ask_to_read_slates  # and so do slates

    clinic = recording.station.clinic
    if clinic.state == Clinic.State.CLOSED:
        raise BadInput([("", _("This clinic is closed; its clocks stay as they are."))])
    if not (math.isfinite(factor) and LEAST <= factor <= MOST):
        told = _("slow motion is by a factor of 1 (none) to 40; choose one in between.")
        raise BadInput([(_("factor"), told)])
    if factor == recording.slow_motion:
        return False
    before, recording.slow_motion = recording.slow_motion, factor
    recording.save(update_fields=["slow_motion"])
    record(
        action="recording.slow-motion",
        by=by,
        subject=recording,
        club=clinic.club,
        detail={"factor": factor, "before": before},
    )
    ask_to_read_slates(recording=recording, by=by)
    ask_to_align(clinic=clinic, by=by)
    return True
