"""The team of a plan: who works at the clinic, at which post, in which role, until when.

A plan that names nobody says nothing of the team: what was said on the page stays. One that names
somebody names everybody who has a duty.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Mapping

from django.utils import timezone

from clinics.actions.people_at_posts_visits import ended_by_an_admin
from clinics.compute.plan_file import TeamSpec
from clinics.models import Clinic, Duty, Station
from portal.actions.audit import record
from portal.models import Membership, User


def put_team(*, clinic: Clinic, team: Iterable[TeamSpec], by: User | None) -> None:
    """Made if unknown, member of the club from that day at latest."""
    team = list(team)
    if not team:
        return
    stations = {station.slug: station for station in clinic.stations.all()}
    duties = set()
    for spec in team:
        user = User.objects.filter(email__iexact=spec.email).first()
        user = user or User.objects.create_user(spec.email, spec.name)
        if spec.name and not user.name:
            user.name = spec.name
            user.save(update_fields=["name"])
        _member(clinic, user, spec, by)
        duties |= {duty.pk for duty in _duties(clinic, user, spec, stations)}
    clinic.duties.exclude(pk__in=duties).delete()


def _duties(
    clinic: Clinic, user: User, spec: TeamSpec, stations: Mapping[str, Station]
) -> Iterator[Duty]:
    """A camera at no station that the plan names may have got one on the page since."""
    if not spec.duty:
        return
    same = Duty.objects.filter(clinic=clinic, user=user, kind=spec.duty)
    if spec.station is None and same.filter(station__isnull=False).exists():
        yield from same.filter(station__isnull=False)
        return
    station = stations[spec.station] if spec.station else None
    duty, _new = Duty.objects.get_or_create(
        clinic=clinic, user=user, kind=spec.duty, station=station
    )
    yield duty


def _member(clinic: Clinic, user: User, spec: TeamSpec, by: User | None) -> None:
    """One that begins later begins by the clinic's day. One that an admin ended stays ended, and
    one without an end gets none; a visitor's follows the plan."""
    from_date: dt.date = min(timezone.now().date(), clinic.date)
    membership, is_new = Membership.objects.get_or_create(
        club=clinic.club,
        user=user,
        role=spec.role,
        defaults={"from_date": from_date, "until_date": spec.until},
    )
    changed = [] if is_new else _follow(membership, from_date, spec.until)
    if changed:
        membership.save(update_fields=changed)
    if is_new or changed:
        record(
            action="membership.from-plan",
            by=by,
            subject=membership,
            club=clinic.club,
            detail={"role": spec.role, "until": membership.until_date},
        )


def _follow(membership: Membership, from_date: dt.date, until: dt.date | None) -> list[str]:
    """Sets the dates that change; which. A visit that was over begins anew: what was filmed
    meanwhile is none of the visitor's business."""
    changed = []
    had, today = membership.until_date, timezone.now().date()
    if until and had and had != until and not ended_by_an_admin(membership):
        if had >= today or until >= today:
            membership.until_date = until
            changed.append("until_date")
        if had < today <= until:
            membership.from_date = from_date
            changed.append("from_date")
    if membership.from_date > from_date:
        membership.from_date = from_date
        changed.append("from_date")
    return list(dict.fromkeys(changed))
