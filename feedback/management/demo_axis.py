"""Where the demo's truth lies on the clinic's own axis of time. What the cameras heard and the
taps fix that axis, and volunteers tap late: it is off the true clock by the same for all, which
changes no swim and no measure."""

from __future__ import annotations

import datetime as dt
from statistics import median
from typing import Any

from clinics.models import Clinic, Swim


def true_starts(clinic: Clinic, truth: dict[str, Any]) -> dict[int, dt.datetime]:
    """By the swimmer's number: the instant of the true start on the clinic's axis, which is where
    it was heard; the shift is the median of all that were."""
    true = {one["number"]: dt.datetime.fromisoformat(one["start_at"]) for one in truth["swims"]}
    heard = Swim.objects.filter(entry__clinic=clinic, start_kind="heard").values_list(
        "entry__number", "start_at"
    )
    late_s = [(at - true[number]).total_seconds() for number, at in heard if number in true]
    shift = dt.timedelta(seconds=median(late_s) if late_s else 0.0)
    return {number: at + shift for number, at in true.items()}
