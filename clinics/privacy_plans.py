"""Who sees and changes the plan, the people and the rules of a club: nothing here is footage,
which is fenced by clinics/privacy.py."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db.models import Q

from clinics.privacy_asks import Rows, coaches, has_duty, signed_in, works_for

if TYPE_CHECKING:
    from portal.models import User


def clinics_run_by(clinics: Rows, user: User) -> Rows:
    if not signed_in(user):
        return clinics.none()
    return clinics.filter(works_for(user, "club_id", "admin"))


def clinics_checked_by(clinics: Rows, user: User) -> Rows:
    if not signed_in(user):
        return clinics.none()
    return clinics.filter(has_duty(user, "pk", "checker"))


def clinics_coached_by(clinics: Rows, user: User) -> Rows:
    if not signed_in(user):
        return clinics.none()
    return clinics.filter(coaches(user, ""))


def clinics_worked_by(clinics: Rows, user: User) -> Rows:
    if not signed_in(user):
        return clinics.none()
    crew = Q(works_for(user, "club_id", "crew")) | Q(has_duty(user, "pk"))
    return clinics.exclude(state="closed").filter(crew)


def clinics_seen_by(clinics: Rows, user: User) -> Rows:
    """The plan and running order: whoever works for the club today."""
    if not signed_in(user):
        return clinics.none()
    return clinics.filter(works_for(user, "club_id", "admin", "coach", "crew"))


def swimmers_managed_by(swimmers: Rows, user: User) -> Rows:
    if not signed_in(user):
        return swimmers.none()
    return swimmers.filter(works_for(user, "club_id", "admin"))


def rules_managed_by(rules: Rows, user: User) -> Rows:
    if not signed_in(user):
        return rules.none()
    return rules.filter(works_for(user, "club_id", "admin"))


def reports_looked_into_by(reports: Rows, user: User) -> Rows:
    """That a minor may be in a clip: the club's admins and the clinic's checkers."""
    if not signed_in(user):
        return reports.none()
    admin = works_for(user, "clip__swim__entry__clinic__club_id", "admin")
    checker = has_duty(user, "clip__swim__entry__clinic_id", "checker")
    return reports.filter(Q(admin) | Q(checker))
