"""Take in a plan: create or update a clinic with its stations, groups, team and roster.

Stations, groups, pool hour and venue are plan_parts.py, the team is plan_team.py.
"""

from __future__ import annotations

from pathlib import Path

from django.db import transaction

from clinics.actions.errors import BadInput
from clinics.actions.errors import say as _
from clinics.actions.keeping_rules import clinic_changed
from clinics.actions.plan_parts import (
    drop_empty_groups,
    put_hour_and_venue,
    put_lane_groups,
    put_stations,
)
from clinics.actions.plan_team import put_team
from clinics.actions.roster import email_ok, put_roster
from clinics.compute.plan_file import PlanFile, parse_plan
from clinics.compute.roster_file import RosterRow, parse_roster
from clinics.compute.tables import decode_text
from clinics.models import Clinic
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
    plan must be that clinic's (a page that changes one clinic makes no other). What the plan
    leaves out (pool hour, venue, a station's camera, the team) stays as it is.
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
        put_stations(clinic, plan.stations, source)
        put_lane_groups(clinic, plan.lane_groups, source, keep_used=rows is None)
        put_team(clinic=clinic, team=plan.team, by=by)
        put_hour_and_venue(clinic, plan, source, by)
        record(action="plan.taken-in", by=by, subject=clinic, club=club)
        if rows is not None:
            put_roster(clinic=clinic, rows=rows, by=by, source=plan.roster or "roster")
            drop_empty_groups(clinic, plan.lane_groups)
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
