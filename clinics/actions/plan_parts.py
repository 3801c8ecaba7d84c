"""Parts of a plan that are taken in: stations, lane groups, pool hour, venue."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from clinics.actions.errors import BadInput
from clinics.actions.errors import say as _
from clinics.actions.pool_hour import set_pool_hour
from clinics.actions.venue import put_venue
from clinics.compute.plan_file import PlanFile, Said, StationSpec
from clinics.models import Camera, Clinic, LaneGroup, Station
from portal.models import User


def put_stations(clinic: Clinic, specs: tuple[StationSpec, ...], source: str) -> None:
    """Stations are known by their short name. One with recordings cannot be left out. What the
    plan does not say of a camera stays as it was said on the pages."""
    known = {station.slug: station for station in clinic.stations.all()}
    wanted = {spec.slug for spec in specs}
    gone = [station for slug, station in known.items() if slug not in wanted]
    used = [s for s in gone if s.recordings.exists() or s.uploads.exists()]
    if used:
        raise BadInput(
            (
                _("%(place)s, station “%(slug)s”", place=source, slug=station.slug),
                _("has recordings already, so the plan cannot leave it out."),
            )
            for station in used
        )
    Station.objects.filter(pk__in=[station.pk for station in gone]).delete()
    for order, spec in enumerate(specs, start=1):
        station = known.get(spec.slug) or Station(clinic=clinic, slug=spec.slug)
        station.order = order
        for name in ("name", "kind", "x_m", "y_m", "z_m", "hears_start"):
            setattr(station, name, getattr(spec, name))
        station.windows = [
            {"pass": w.pass_no, "from_s": w.from_s, "to_s": w.to_s} for w in spec.windows
        ]
        for name, value in spec.planned.items():
            setattr(station, name, value)
        station.save()
        if not station.recordings.exists():
            station.cameras.exclude(name=spec.camera).filter(recordings__isnull=True).delete()
        Camera.objects.get_or_create(station=station, name=spec.camera)


def put_lane_groups(
    clinic: Clinic, names: tuple[str, ...], source: str, *, keep_used: bool
) -> None:
    """The plan's groups in their order. Without a new roster a group with swimmers stays."""
    for order, name in enumerate(names, start=1):
        LaneGroup.objects.update_or_create(clinic=clinic, name=name, defaults={"order": order})
    if not keep_used or not names:
        return
    left_out = clinic.lane_groups.exclude(name__in=names)
    used = left_out.filter(entries__isnull=False).distinct()
    if used:
        raise BadInput(
            (
                _("%(place)s, lane_group “%(name)s”", place=source, name=group.name),
                _("has swimmers, so the plan cannot leave it out. Hand in the roster, too."),
            )
            for group in used
        )
    left_out.delete()


def drop_empty_groups(clinic: Clinic, names: tuple[str, ...]) -> None:
    clinic.lane_groups.exclude(name__in=names).filter(entries__isnull=True).delete()


def put_hour_and_venue(clinic: Clinic, plan: PlanFile, source: str, by: User | None) -> None:
    """Each if the plan has it. Raises BadInput with what is wrong in both."""
    errors: list[tuple[str, str]] = []
    parts: tuple[tuple[str, Said | None, Callable[..., object]], ...] = (
        ("pool_hour", plan.pool_hour, set_pool_hour),
        ("venue", plan.venue_sheet, put_venue),
    )
    for name, said, put in parts:
        if said is not None:
            errors += _refused(partial(put, clinic=clinic, values=said, by=by), f"{source}, {name}")
    if errors:
        raise BadInput(errors)


def _refused(put: Callable[[], object], part: str) -> list[tuple[str, str]]:
    try:
        put()
    except BadInput as bad:
        return [(f"{part}.{where}" if where else part, told) for where, told in bad.errors]
    return []
