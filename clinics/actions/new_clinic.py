"""A new clinic by a form, alone or as an earlier one was; and its facts changed later."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import asdict, dataclass, fields

from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.utils.text import slugify

from clinics.actions.errors import BadInput
from clinics.actions.errors import say as _
from clinics.actions.keeping_rules import ask_to_date, clinic_changed
from clinics.actions.new_clinic_copy import Copied, copy_clinic
from clinics.actions.people_at_posts_visits import invite_visitor, require_admin
from clinics.actions.stations_change import add_station
from clinics.compute.checks import Errors, raise_if_any, within
from clinics.compute.plan_file import is_time_zone
from clinics.compute.tables import tidy, unprintable
from clinics.models import Clinic, Swim
from portal.actions.audit import record
from portal.models import Club, Membership, User

COURSE_M, DISTANCE_M, AIR_C = (5, 200), (5, 1500), (-20, 50)
TEXT_MOST, SLUG_MOST = 120, 50


@dataclass(frozen=True)
class Facts:
    """What a clinic is. `give` as in Clinic.Give."""

    name: str
    venue: str
    date: dt.date
    time_zone: str
    course_m: float
    distance_m: float
    air_temperature_c: float
    give: str = Clinic.Give.WITH_FEEDBACK
    sound_for_swimmers: bool = False


@dataclass(frozen=True)
class Visitor:
    """The coach of a visiting team, who comes to run it. Without `until`: the usual last day."""

    email: str
    name: str
    until: dt.date | None = None


def facts_of(clinic: Clinic) -> Facts:
    return Facts(**{field.name: getattr(clinic, field.name) for field in fields(Facts)})


@transaction.atomic
def new_clinic(
    *,
    club: Club,
    facts: Facts,
    by: User,
    slug: str = "",
    like: Clinic | None = None,
    stations: Iterable[tuple[str, str]] = (),
    visitor: Visitor | None = None,
) -> tuple[Clinic, Copied | None]:
    """Plan a clinic; whole or not at all. Without `slug` one is made from name and date. `like`:
    an earlier clinic of the same club, see new_clinic_copy.py for what is taken along; without
    one, `stations` to begin with, by name and kind, at their usual places.

    Raises BadInput with everything that is wrong with the facts.
    """
    _require_admin_of(club, by)
    if like is not None and like.club_id != club.pk:
        raise PermissionDenied("a clinic of another club")
    facts = _checked(facts, slug)
    slug = slug or free_slug(facts.name, facts.date)
    clinic = Clinic.objects.create(club=club, slug=slug, **asdict(facts))
    record(action="plan.new", by=by, subject=clinic, club=club, detail={"like": _pk(like)})
    copied = copy_clinic(to=clinic, from_clinic=like, by=by) if like is not None else None
    for name, kind in () if like is not None else stations:
        add_station(clinic=clinic, name=name, kind=kind, by=by)
    if visitor is not None:
        invite_visitor(
            clinic=clinic,
            email=visitor.email,
            name=visitor.name,
            role=Membership.Role.COACH,
            until=visitor.until,
            by=by,
        )
    clinic_changed(clinic=clinic, by=by)
    return clinic, copied


def _pk(clinic: Clinic | None) -> str:
    return str(clinic.pk) if clinic is not None else ""


def _require_admin_of(club: Club, by: User) -> None:
    admins = Membership.objects.current().filter(club=club, role=Membership.Role.ADMIN)
    if not admins.filter(user=by).exists():
        raise PermissionDenied("not an admin of this club")


@transaction.atomic
def set_facts(*, clinic: Clinic, facts: Facts, by: User) -> list[str]:
    """The names of the facts that changed. Tasks and the pool hour count from the day and move
    with it; a visitor's last day does not, since it may be meant for more than one clinic."""
    require_admin(clinic, by)
    row = Clinic.objects.select_for_update(of=("self",)).select_related("club").get(pk=clinic.pk)
    if row.state == Clinic.State.CLOSED:
        raise BadInput([("", _("The clinic is closed; what it was stays as it is."))])
    facts = _checked(facts)
    changed = [name for name, value in asdict(facts).items() if getattr(row, name) != value]
    if not changed:
        return []
    for name in changed:
        setattr(row, name, getattr(facts, name))
    row.save(update_fields=changed)
    record(action="plan.facts", by=by, subject=row, club=row.club, detail={"fields": changed})
    if "date" in changed and Swim.objects.filter(entry__clinic=row).exists():
        ask_to_date(club=row.club, by=by)
    elif "date" in changed:
        clinic_changed(clinic=row, by=by)
    return changed


def _checked(facts: Facts, slug: str = "") -> Facts:
    """The facts with tidy texts. Raises BadInput; its places are the names of the fields."""
    errors: Errors = []
    texts = {name: tidy(getattr(facts, name)) for name in ("name", "venue")}
    for name, text in texts.items():
        if not text or len(text) > TEXT_MOST or unprintable(text):
            told = _("must be at most %(limit)s characters that can be shown.", limit=TEXT_MOST)
            errors.append((name, told))
    if not is_time_zone(facts.time_zone):
        told = _("“%(name)s” is no time zone. Write one as “Europe/Dublin”.", name=facts.time_zone)
        errors.append(("time_zone", told))
    within(facts.course_m, *COURSE_M, "course_m", errors)
    within(facts.distance_m, *DISTANCE_M, "distance_m", errors)
    within(facts.air_temperature_c, *AIR_C, "air_temperature_c", errors)
    if facts.give not in Clinic.Give.values:
        errors.append(("give", _("Choose when swimmers get their clips.")))
    if slug and (slugify(slug) != slug or len(slug) > SLUG_MOST):
        told = _("“%(value)s” must be small letters, digits and single hyphens.", value=slug)
        errors.append(("slug", told))
    elif slug and Clinic.objects.filter(slug=slug).exists():
        errors.append(("slug", _("“%(slug)s” is taken; choose another.", slug=slug)))
    raise_if_any(errors)
    return Facts(**asdict(facts) | texts)


def free_slug(name: str, date: dt.date) -> str:
    """A short name from name and month that no clinic of the site has."""
    month = f"{date:%Y-%m}"
    stem = slugify(name)[: SLUG_MOST - len(month) - 5].strip("-_") or "clinic"
    stem = f"{stem.replace('_', '-')}-{month}"
    taken = set(Clinic.objects.filter(slug__startswith=stem).values_list("slug", flat=True))
    tries = (stem if n == 1 else f"{stem}-{n}" for n in range(1, len(taken) + 2))
    return next(slug for slug in tries if slug not in taken)
