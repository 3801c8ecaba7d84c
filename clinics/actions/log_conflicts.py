"""Where the lines of a clinic's start log contradict each other, in sentences that say what to do.

What leads meanwhile: of several lines of one start the one whose clock is known best, and among
those known to 50 ms the one of the logger by duty; it gives the swim's instant, the others stay as
lines. Two swimmers within eight seconds both keep their swims, and somebody who is away and did
not come keeps the swim, until a person takes one line back: that settles each of them.
"""

from __future__ import annotations

from collections.abc import Iterable

from clinics.actions.log_swims import as_logged, loggers_of
from clinics.compute.logged_starts import Conflict, conflicts
from clinics.models import Clinic, DayWish, StartLogEntry


def conflicts_of(clinic: Clinic, lines: Iterable[StartLogEntry] | None = None) -> list[Conflict]:
    """In order of time. `lines` of the clinic with `entry` and `phone`, if they were asked for
    already. Three queries, else two."""
    if lines is None:
        lines = clinic.start_log.select_related("entry", "phone")
    loggers = loggers_of(clinic)
    wishes = DayWish.objects.filter(entry__clinic=clinic, kind=DayWish.Kind.SECOND_GO)
    again = set(wishes.values_list("entry__number", flat=True))
    logged = [
        as_logged(line, loggers=loggers, swims_s=_swims_s(clinic, line))
        for line in lines
        if line.undone_at is None
    ]
    return conflicts(logged, again.__contains__)


def _swims_s(clinic: Clinic, line: StartLogEntry) -> float:
    pace_s = line.entry.pace_s_per_100m if line.entry is not None else 0.0
    return pace_s * clinic.distance_m / 100
