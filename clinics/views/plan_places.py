"""The pages of a clinic before and during its pool hour, as one row of links."""

from __future__ import annotations

from dataclasses import dataclass

from django.urls import NoReverseMatch, reverse
from django.utils.translation import gettext_lazy as _

from clinics.models import Clinic

_PLACES = (
    ("clinic-plan", _("Plan")),
    ("venue", _("Venue")),
    ("stations", _("Stations")),
    ("pool-hour", _("Pool hour")),
    ("people", _("Who does what")),
    ("sign-ups", _("Sign-up")),
    ("tasks", _("Before the day")),
    ("cautions", _("Cautions")),
    ("try-out", _("Try-out")),
    ("papers", _("Papers")),
    ("day-board", _("On the day")),
)


@dataclass(frozen=True)
class Place:
    url: str
    label: str
    here: bool


def plan_places(clinic: Clinic, here: str) -> list[Place]:
    """`here`: the URL name of the page that asks. A template includes clinics/plan_places.html
    with this as `places_of_plan`."""
    found = []
    for name, label in _PLACES:
        try:
            url = reverse(f"clinics:{name}", args=[clinic.pk])
        except NoReverseMatch:
            continue
        found.append(Place(url, str(label), name == here))
    return found
