"""Who stands in a consent text: the controller, the checkers of the clinic, the visiting team."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.db.models import Q
from django.utils import timezone, translation
from django.utils.translation import gettext as _

from clinics.compute import consent_words as words
from clinics.models import Clinic, ClubRules, Duty
from portal.models import Club, Membership

if TYPE_CHECKING:
    from clinics.models import ConsentText, Swimmer

Names = dict[str, Any]


def names_for(club: Club, clinic: Clinic | None) -> Names:
    """As they are today; an answer keeps them, since duties change. Three queries."""
    rules = ClubRules.objects.filter(club=club).first()
    return {
        "club": club.name,
        "controller": (rules.controller_name if rules else "") or club.name,
        "address": rules.controller_address if rules else "",
        "contact": club.contact_email,
        "checkers": _checkers(clinic),
        "team": _visiting(club, clinic),
    }


def _checkers(clinic: Clinic | None) -> list[str]:
    if clinic is None:
        return []
    duties = clinic.duties.filter(kind=Duty.Kind.CHECKER).select_related("user")
    return sorted(duty.user.name for duty in duties if duty.user.name)


def _visiting(club: Club, clinic: Clinic | None) -> list[str]:
    """Whoever works for the club on that day only for a while."""
    day = clinic.date if clinic else timezone.localdate()
    there = Q(from_date__lte=day, until_date__gte=day)
    members = Membership.objects.filter(there, club=club).select_related("user")
    return sorted({member.user.name for member in members if member.user.name})


def next_clinic(swimmer: Swimmer) -> Clinic | None:
    """The clinic that somebody who answers has before them, or else the last one."""
    clinics = Clinic.objects.filter(entries__swimmer=swimmer)
    ahead = clinics.exclude(state=Clinic.State.CLOSED).filter(date__gte=timezone.localdate())
    return ahead.order_by("date").first() or clinics.order_by("-date").first()


def in_text(names: Names, language: str) -> dict[str, str]:
    """What stands in the places of a text, in the text's own language."""
    with translation.override(language):
        return {
            "club": names.get("club", ""),
            "controller": names.get("controller", ""),
            "checker": ", ".join(names.get("checkers") or []) or _("not named yet"),
            "team": ", ".join(names.get("team") or []) or _("nobody"),
        }


def as_shown(text: ConsentText, names: Names) -> str:
    """The text as the swimmer reads it."""
    return words.filled(text.text, in_text(names, text.language))


def names_somebody_new(shown: Names, now: Names) -> bool:
    """Is there somebody in the text today who was not in it then? Who left needs no asking."""
    if not shown:
        return False
    new = {who for key in ("checkers", "team") for who in set(now[key]) - set(shown.get(key, []))}
    return bool(new) or now["controller"] != shown.get("controller")
