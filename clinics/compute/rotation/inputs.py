"""What cannot be planned, all of it at once, by the name of the field."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from clinics.compute.errors import BadInput
from clinics.compute.errors import say as _
from clinics.compute.roster_file import PACE_MAX_S, PACE_MIN_S
from clinics.compute.rotation.types import ClinicHour, Goer, Key

Errors = list[tuple[str, str]]

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


def within(value: float, low: float, high: float, where: str, errors: Errors) -> None:
    if not low <= value <= high:
        said = {"value": f"{value:g}", "low": f"{low:g}", "high": f"{high:g}"}
        errors.append((where, _("%(value)s is outside %(low)s to %(high)s.", **said)))


def once(where: str, keys: Iterable[Key], errors: Errors) -> None:
    seen: set[Key] = set()
    for key in keys:
        if key in seen:
            errors.append((where, _("“%(value)s” stands there twice.", value=str(key))))
        seen.add(key)


def known(where: str, keys: Iterable[Key], among: Iterable[Key], errors: Errors) -> None:
    among = list(among)
    for key in keys:
        if key not in among:
            names = ", ".join(str(one) for one in among)
            told = _("is not known here. Known: %(known)s.", known=names)
            errors.append((f"{where} {key}", told))


def _somebody(goers: Sequence[Goer], groups: Sequence[Key], errors: Errors) -> None:
    nobody = _("names no swimmer. Write one row for each.")
    if not goers:
        errors.append(("goers", nobody))
        return
    with_somebody = {goer.group for goer in goers}
    errors += [(f"group {group}", nobody) for group in groups if group not in with_somebody]
    for goer in goers:
        known(f"goer {goer.key}.group", [goer.group], groups, errors)


def raise_if_any(errors: Errors) -> None:
    if errors:
        raise BadInput(errors)
