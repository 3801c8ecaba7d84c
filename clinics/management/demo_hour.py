"""The pool hour of the demo clinic, so that its timetable and its start log belong together, and
what the crew said that day."""

from __future__ import annotations

import datetime as dt
import math

from clinics.actions.pool_hour import planned, set_pool_hour
from clinics.models import Clinic, DayWish, PoolHour, StationWord, Swim
from portal.models import User

# The demo's swimmers go a little faster after each other than a club would let them.
TIMES = {"briefing_s": 60, "change_over_s": 5, "climbing_out_s": 9, "briefs_on_deck": True}
BEFORE, AFTER = dt.timedelta(seconds=100), dt.timedelta(seconds=40)


def hour_in_demo(clinic: Clinic, *, by: User | None = None) -> None:
    """The pool is theirs from the whole minute before the first briefing, for a minute more than
    they need. Repeated, or without swims, it changes nothing."""
    swims = Swim.objects.filter(entry__clinic=clinic).select_related("entry").order_by("start_at")
    first, last = swims.first(), swims.last()
    if first is None or last is None or PoolHour.objects.filter(clinic=clinic).exists():
        return
    briefed_at = first.start_at.astimezone(clinic.zone) - dt.timedelta(seconds=60)
    begins = briefed_at.time().replace(second=0, microsecond=0)
    set_pool_hour(clinic=clinic, values={"begins": begins, **TIMES}, by=by)
    plan = planned(clinic)
    assert plan is not None  # whoever swam is entered
    minutes = math.ceil(plan.timetable.ends_s / 60) + 1
    set_pool_hour(clinic=clinic, values={"minutes": minutes}, by=by)
    _said_that_day(clinic, first.start_at, last)


def _said_that_day(clinic: Clinic, first_at: dt.datetime, last: Swim) -> None:
    """Each camera rolled and was stopped; the last swimmer wished to go again."""
    last_at = last.start_at
    StationWord.objects.bulk_create(
        StationWord(station=station, client_id=f"demo-{state}", state=state, at=at)
        for station in clinic.stations.all()
        for state, at in (("rolling", first_at - BEFORE), ("stopped", last_at + AFTER))
    )
    DayWish.objects.get_or_create(
        entry=last.entry,
        kind=DayWish.Kind.SECOND_GO,
        defaults={"client_id": "demo-again", "said_at": last_at + AFTER},
    )
