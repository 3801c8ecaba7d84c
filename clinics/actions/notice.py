"""What the notice page says of clinics, from the rules and texts that really apply.

For each of the reader's clubs; a stranger reads what holds unless a club says otherwise.
"""

from __future__ import annotations

from typing import Any

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from clinics.models import Clinic, ClubRules, ConsentText, Duty, Purpose
from portal.models import Club
from portal.registry import NoticePart

PHONE_DAYS = 14
"""As in clinics/static/clinics/offline-forget.js."""


def lines(clubs: list[Club]) -> dict[str, Any]:
    """By the sections of the page. A fixed number of queries, however many clubs."""
    rules = {row.club_id: row for row in ClubRules.objects.filter(club__in=clubs)}
    return {
        "controllers": [_controller(club, rules.get(club.pk)) for club in clubs],
        "purposes": _purposes(clubs),
        "checkers": _checkers(clubs),
        "kept": _kept(clubs, rules),
    }


def _controller(club: Club, rules: ClubRules | None) -> dict[str, str]:
    return {
        "name": (rules.controller_name if rules else "") or club.name,
        "address": rules.controller_address if rules else "",
        "email": club.contact_email,
    }


def _purposes(clubs: list[Club]) -> list[dict[str, Any]]:
    """Each purpose that is asked for, and the version of the text that each club publishes."""
    newest: dict[tuple[Any, str], ConsentText] = {}
    for text in ConsentText.objects.filter(club__in=clubs).order_by("version"):
        newest[text.club_id, text.purpose] = text
    return [
        {
            "label": label,
            "texts": [
                _("%(club)s: version %(version)d of %(day)s")
                % {
                    "club": club.name,
                    "version": newest[club.pk, purpose].version,
                    "day": date_format(newest[club.pk, purpose].published_at, "DATE_FORMAT"),
                }
                for club in clubs
                if (club.pk, purpose) in newest
            ],
        }
        for purpose, label in Purpose.choices
    ]


def _checkers(clubs: list[Club]) -> list[str]:
    """Who checks, clinic by clinic, until it is closed: their names stand in what was signed."""
    duties = Duty.objects.filter(clinic__club__in=clubs, kind=Duty.Kind.CHECKER)
    duties = duties.exclude(clinic__state=Clinic.State.CLOSED).select_related("clinic", "user")
    by_clinic: dict[str, list[str]] = {}
    for duty in duties.order_by("clinic__date", "user__name"):
        by_clinic.setdefault(duty.clinic.name, []).append(str(duty.user))
    return [f"{clinic}: {', '.join(names)}" for clinic, names in by_clinic.items()]


def _kept(clubs: list[Club], rules: dict[Any, ClubRules]) -> list[dict[str, Any]]:
    if not clubs:
        return [{"club": "", "lines": _times(ClubRules())}]
    return [
        {"club": club.name, "lines": _times(rules.get(club.pk) or ClubRules())} for club in clubs
    ]


def _times(rules: ClubRules) -> list[str]:
    """The rules in words, in the order in which things come into being."""
    return [
        _("Original recordings: %(time)s after the clinic is closed.")
        % {"time": _days(rules.originals_days)},
        _("Clips: until %(time)s after your next clinic, at most %(months)s.")
        % {
            "time": _days(rules.clips_after_next_days),
            "months": _months(rules.clips_at_most_months),
        },
        _("What was never given to you: %(time)s after the clinic.")
        % {"time": _days(rules.not_given_days)},
        _(
            "Your sign-up, and what you want coaches to look at: %(time)s after the clinic. "
            "Injuries that you tell the coaches: until the clinic is closed."
        )
        % {"time": _days(rules.not_given_days)},
        _(
            "On the phones with which the crew logs starts and asks for consent at the pool: your "
            "number, your name and whether you agreed to be filmed, until that person signs out. "
            "%(time)s after the clinic they go when the phone next opens such a page."
        )
        % {"time": _days(PHONE_DAYS)},
        _("Comments, measures and take-home pages: %(time)s.")
        % {"time": _months(rules.measures_months)},
        _("Parts of uploads that did not end: %(time)s.")
        % {"time": _days(rules.upload_parts_days)},
        _("When you want all of it erased: hidden at once, deleted after %(time)s.")
        % {"time": _days(rules.erase_after_days)},
    ]


def _days(count: int) -> str:
    return ngettext("%(n)d day", "%(n)d days", count) % {"n": count}


def _months(count: int) -> str:
    return ngettext("%(n)d month", "%(n)d months", count) % {"n": count}


PART = NoticePart("clinics", lines)
