"""Take in a plan: create or update a clinic with its stations, groups, team and roster."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

from django.db import transaction
from django.utils import timezone

from clinics.actions.errors import BadInput
from clinics.actions.errors import say as _
from clinics.actions.keeping_rules import clinic_changed
from clinics.actions.roster import email_ok, put_roster
from clinics.compute.plan_file import PlanFile, StationSpec, TeamSpec, parse_plan
from clinics.compute.roster_file import RosterRow, parse_roster
from clinics.compute.tables import decode_text
from clinics.models import Camera, Clinic, Duty, LaneGroup, Station
from portal.actions.audit import record
from portal.models import Club, Membership, User


def take_in_plan(
    *,
    text: str,
    base_dir: Path | None = None,
    roster_text: str | None = None,
    by: User | None = None,
    create_club: str | None = None,
    slug: str | None = None,
    source: str = "plan.toml",
) -> Clinic:
    """Create or update a clinic from a plan's text, whole or not at all.

    `roster_text` comes before the file that the plan names, which is looked for in
    `base_dir`. `create_club` makes the club, with that name, if it is missing. `by` must be
    an admin of the club; without it the caller vouches (the command line). With `slug` the
    plan must be that clinic's (a page that changes one clinic makes no other).
    Raises BadInput with everything that is wrong in plan and roster.
    """
    errors: list[tuple[str, str]] = []
    plan = parse_plan(text, email_ok=email_ok, source=source)
    if slug is not None and plan.slug != slug:
        told = _("“%(other)s” is not this clinic, “%(slug)s”.", other=plan.slug, slug=slug)
        errors.append((f"{source}, clinic.slug", told))
    rows = _roster_rows(plan, base_dir, roster_text, source, errors)
    with transaction.atomic():
        club = _club(plan, by, create_club, source, errors)
        clinic = Clinic.objects.select_for_update().filter(slug=plan.slug).first()
        _refuse(plan, clinic, club, source, errors)
        if errors or club is None:
            raise BadInput(errors)
        clinic = _put_clinic(plan, clinic, club)
        _put_stations(clinic, plan.stations, source)
        _put_lane_groups(clinic, plan.lane_groups, source, keep_used=rows is None)
        _put_team(clinic, plan.team, by)
        record(action="plan.taken-in", by=by, subject=clinic, club=club)
        if rows is not None:
            put_roster(clinic=clinic, rows=rows, by=by, source=plan.roster or "roster")
            _drop_empty_groups(clinic, plan.lane_groups)
        clinic_changed(clinic=clinic, by=by)
    return clinic


def _roster_rows(
    plan: PlanFile,
    base_dir: Path | None,
    roster_text: str | None,
    source: str,
    errors: list[tuple[str, str]],
) -> list[RosterRow] | None:
    """Rows of the roster that was handed in, or of the file that the plan names."""
    if roster_text is None and plan.roster and base_dir is not None:
        path = (base_dir / plan.roster).resolve()
        if not path.is_relative_to(base_dir.resolve()) or not path.is_file():
            told = _("there is no file “%(name)s” beside the plan.", name=plan.roster)
            errors.append((f"{source}, clinic.roster", told))
            return None
        roster_text = decode_text(path.read_bytes(), source=plan.roster)
    if roster_text is None:
        return None
    try:
        return parse_roster(
            roster_text,
            lane_groups=list(plan.lane_groups),
            email_ok=email_ok,
            source=plan.roster or "roster",
        )
    except BadInput as bad:
        errors.extend(bad.errors)
        return None


def _club(
    plan: PlanFile,
    by: User | None,
    create_club: str | None,
    source: str,
    errors: list[tuple[str, str]],
) -> Club | None:
    club = Club.objects.filter(slug=plan.club).first()
    if by is not None:
        runs = Membership.objects.current().filter(user=by, role="admin", club__slug=plan.club)
        if not runs.exists():
            told = _("you are not an admin of a club “%(club)s”.", club=plan.club)
            errors.append((f"{source}, clinic.club", told))
            return None
    if club is None and create_club:
        return Club.objects.create(slug=plan.club, name=create_club)
    if club is None:
        errors.append(
            (
                f"{source}, clinic.club",
                _(
                    "there is no club “%(club)s”. Make it with its first admin (manage.py "
                    'first_admin), or let plan_clinic make it with --create-club "Its name".',
                    club=plan.club,
                ),
            )
        )
    return club


def _refuse(
    plan: PlanFile,
    clinic: Clinic | None,
    club: Club | None,
    source: str,
    errors: list[tuple[str, str]],
) -> None:
    if clinic is None or club is None:
        return
    if clinic.club_id != club.pk:
        told = _("“%(slug)s” is taken by another club; choose another.", slug=plan.slug)
        errors.append((f"{source}, clinic.slug", told))
    elif clinic.state == Clinic.State.CLOSED:
        told = _("“%(slug)s” is closed; its plan stays.", slug=plan.slug)
        errors.append((f"{source}, clinic.slug", told))


def _put_clinic(plan: PlanFile, clinic: Clinic | None, club: Club) -> Clinic:
    clinic = clinic or Clinic(slug=plan.slug, club=club)
    for name in (
        "name venue date time_zone course_m distance_m air_temperature_c give "
        "sound_for_swimmers starter_x_m starter_y_m"
    ).split():
        setattr(clinic, name, getattr(plan, name))
    clinic.save()
    return clinic


def _put_stations(clinic: Clinic, specs: tuple[StationSpec, ...], source: str) -> None:
    """Stations are known by their short name. One with recordings cannot be left out."""
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
        station.save()
        if not station.recordings.exists():
            station.cameras.exclude(name=spec.camera).filter(recordings__isnull=True).delete()
        Camera.objects.get_or_create(station=station, name=spec.camera)


def _put_lane_groups(
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


def _drop_empty_groups(clinic: Clinic, names: tuple[str, ...]) -> None:
    clinic.lane_groups.exclude(name__in=names).filter(entries__isnull=True).delete()


def _put_team(clinic: Clinic, team: tuple[TeamSpec, ...], by: User | None) -> None:
    """Who works at the clinic: made if unknown, member of the club from that day at latest."""
    duties = []
    for spec in team:
        user = User.objects.filter(email__iexact=spec.email).first()
        user = user or User.objects.create_user(spec.email, spec.name)
        if spec.name and not user.name:
            user.name = spec.name
            user.save(update_fields=["name"])
        _member(clinic, user, spec.role, by)
        if spec.duty:
            duty, _new = Duty.objects.get_or_create(clinic=clinic, user=user, kind=spec.duty)
            duties.append(duty.pk)
    clinic.duties.exclude(pk__in=duties).delete()


def _member(clinic: Clinic, user: User, role: str, by: User | None) -> None:
    """One that begins later begins by the clinic's day; one that an admin ended stays ended."""
    from_date: dt.date = min(timezone.now().date(), clinic.date)
    membership, is_new = Membership.objects.get_or_create(
        club=clinic.club, user=user, role=role, defaults={"from_date": from_date}
    )
    if is_new:
        record(
            action="membership.from-plan",
            by=by,
            subject=membership,
            club=clinic.club,
            detail={"role": role},
        )
    elif membership.from_date > from_date:
        membership.from_date = from_date
        membership.save(update_fields=["from_date"])
