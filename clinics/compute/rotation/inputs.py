"""What cannot be planned, all of it at once, by the name of the field."""

from __future__ import annotations

from collections.abc import Sequence

from clinics.compute.checks import Errors, known, once, raise_if_any, within
from clinics.compute.errors import say as _
from clinics.compute.roster_file import PACE_MAX_S, PACE_MIN_S
from clinics.compute.rotation.types import ClinicHour, Goer, Key

DAY_S = 86_400.0
LIMITS = {  # pool and distance as a clinic's plan takes them
    "course_m": (5.0, 200.0),
    "distance_m": (5.0, 1500.0),
    "pool_time_s": (60.0, DAY_S),
    "briefing_s": (0.0, 3600.0),
    "change_over_s": (0.0, 3600.0),
    "climbing_out_s": (0.0, 600.0),
    "reserve_s": (0.0, DAY_S),
    "rest_s": (0.0, DAY_S),
}


def check_hour(hour: ClinicHour, goers: Sequence[Goer], groups: Sequence[Key]) -> None:
    """BadInput that names every bad field, such as `hour.course_m`, `goer 12.pace_s_per_100m`
    or `group B`; what is not a number is outside of every range."""
    errors: Errors = []
    for field, (low, high) in LIMITS.items():
        within(getattr(hour, field), low, high, f"hour.{field}", errors)
    for goer in goers:
        where = f"goer {goer.key}.pace_s_per_100m"
        within(goer.pace_s_per_100m, PACE_MIN_S, PACE_MAX_S, where, errors)
    once("goers", [goer.key for goer in goers], errors)
    once("groups", groups, errors)
    _somebody(goers, groups, errors)
    raise_if_any(errors)


def _somebody(goers: Sequence[Goer], groups: Sequence[Key], errors: Errors) -> None:
    nobody = _("names no swimmer. Write one row for each.")
    if not goers:
        errors.append(("goers", nobody))
        return
    with_somebody = {goer.group for goer in goers}
    errors += [(f"group {group}", nobody) for group in groups if group not in with_somebody]
    for goer in goers:
        known(f"goer {goer.key}.group", [goer.group], groups, errors)
