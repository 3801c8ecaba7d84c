"""Forms for a new clinic and for the facts of one."""

from __future__ import annotations

import datetime as dt
import zoneinfo
from functools import cache
from typing import Any

from django import forms
from django.conf import settings
from django.db.models import QuerySet
from django.utils.translation import gettext_lazy as _

from clinics.actions.errors import BadInput
from clinics.actions.new_clinic import (
    AIR_C,
    COURSE_M,
    DISTANCE_M,
    SLUG_MOST,
    TEXT_MOST,
    Facts,
    Visitor,
    facts_of,
)
from clinics.models import Clinic, Station
from clinics.views.cautions_told import told
from clinics.views.people_forms import day_input
from portal.models import Club

CLUB, VISITORS = "club", "visitors"
USUAL = {"course_m": 25.0, "distance_m": 75.0, "air_temperature_c": 28.0}  # common, no source
FACTS = (
    *("name", "venue", "date", "time_zone", "course_m", "distance_m", "air_temperature_c"),
    *("give", "sound_for_swimmers"),
)


@cache
def time_zones() -> list[str]:
    """Those of places, to choose from; any that is known may be typed."""
    return sorted(
        name
        for name in zoneinfo.available_timezones()
        if "/" in name and not name.startswith(("Etc/", "SystemV/", "US/", "posix/", "right/"))
    )


def _number(label: Any, limits: tuple[float, float], help_text: Any) -> forms.FloatField:
    low, high = limits
    widget = forms.NumberInput(attrs={"step": "any", "inputmode": "decimal"})
    return forms.FloatField(
        label=label, min_value=low, max_value=high, help_text=help_text, widget=widget
    )


class FactsForm(forms.Form):
    name = forms.CharField(label=_("Name"), max_length=TEXT_MOST)
    venue = forms.CharField(
        label=_("Venue"),
        max_length=TEXT_MOST,
        help_text=_("As people call the pool; clinics there share what is known of it."),
    )
    date = forms.DateField(label=_("Day"), widget=day_input())
    time_zone = forms.CharField(
        label=_("Time zone of the pool"),
        max_length=64,
        help_text=_("For instance Europe/Dublin."),
        widget=forms.TextInput(attrs={"list": "time-zones", "autocomplete": "off"}),
    )
    course_m = _number(
        _("Length of the course, metres"), COURSE_M, _("25, 50, 22.86 (25 yards), or any other.")
    )
    distance_m = _number(
        _("Swum in one go, metres"), DISTANCE_M, _("75 in a pool of 25 m goes by mid-pool thrice.")
    )
    air_temperature_c = _number(
        _("Air in the hall, °C"),
        AIR_C,
        _("How quickly sound travels depends on it. If nobody knows: 28."),
    )
    give = forms.ChoiceField(
        label=_("Swimmers get their clips"),
        choices=Clinic.Give.choices,
        initial=Clinic.Give.WITH_FEEDBACK,
    )
    sound_for_swimmers = forms.BooleanField(
        label=_("Swimmers get the sound, too"),
        required=False,
        help_text=_("It carries names and talk of others. Coaches always have it."),
    )

    def facts(self) -> Facts:
        return Facts(**{name: self.cleaned_data[name] for name in FACTS})

    def complain(self, bad: BadInput) -> None:
        """What an action refused, at the field it is about."""
        for where, words in bad.errors:
            self.add_error(where if where in self.fields else None, told(words))


def initial_of(clinic: Clinic | None, *, last: Clinic | None = None) -> dict[str, Any]:
    """Of a clinic's facts; for none the usual, where the `last` one was."""
    if clinic is None:
        return {**USUAL, "time_zone": last.time_zone if last else settings.TIME_ZONE}
    facts = facts_of(clinic)
    return {name: getattr(facts, name) for name in FACTS}


class NewClinicForm(FactsForm):
    club = forms.ModelChoiceField(label=_("Club"), queryset=Club.objects.none(), empty_label=None)
    slug = forms.SlugField(
        label=_("Short name"),
        max_length=SLUG_MOST,
        required=False,
        help_text=_("For files and commands. Left empty, it is made from name and month."),
    )
    stations = forms.MultipleChoiceField(
        label=_("Stations to begin with"),
        choices=Station.Kind.choices,
        required=False,
        initial=[Station.Kind.START_SIDE, Station.Kind.UNDERWATER, Station.Kind.DECK],
        widget=forms.CheckboxSelectMultiple,
        help_text=_("Each at its usual place; move, change and add them on the page Stations."),
    )
    runs = forms.ChoiceField(
        label=_("Who comes to run it?"),
        choices=[
            (CLUB, _("We run it ourselves")),
            (VISITORS, _("A visiting team comes to run it")),
        ],
        initial=CLUB,
        widget=forms.RadioSelect,
    )
    visitor_email = forms.EmailField(label=_("E-mail of its coach"), max_length=254, required=False)
    visitor_name = forms.CharField(label=_("Name of its coach"), max_length=120, required=False)
    visitor_until = forms.DateField(
        label=_("Works for the club until"),
        required=False,
        widget=day_input(),
        help_text=_(
            "Left empty: two weeks after the clinic is expected to be closed, to answer what is "
            "passed on last. It ends by itself."
        ),
    )

    def __init__(self, *args: Any, clubs: QuerySet[Club], like: Clinic | None, **kw: Any) -> None:
        super().__init__(*args, **kw)
        club: Any = self.fields["club"]
        club.queryset = Club.objects.filter(pk=like.club_id) if like is not None else clubs
        if len(club.queryset) == 1:
            club.widget, club.initial = forms.HiddenInput(), club.queryset[0].pk
        if like is not None:
            del self.fields["stations"]

    def clean(self) -> dict[str, Any]:
        said = super().clean() or self.cleaned_data
        for name in ("visitor_email", "visitor_name"):
            if said.get("runs") == VISITORS and name not in self.errors and not said.get(name):
                self.add_error(name, _("Say who comes; they are invited by mail."))
        return said

    def new_stations(self) -> list[tuple[str, str]]:
        """Names and kinds, in the reader's language."""
        chosen = self.cleaned_data.get("stations") or []
        return [(_capital(str(Station.Kind(kind).label)), kind) for kind in chosen]

    def visitor(self) -> Visitor | None:
        said = self.cleaned_data
        if said["runs"] != VISITORS:
            return None
        until: dt.date | None = said["visitor_until"]
        return Visitor(said["visitor_email"], said["visitor_name"], until)


def _capital(word: str) -> str:
    return word[:1].upper() + word[1:]


class LikeForm(forms.Form):
    """The earlier clinic that a new one is to be like."""

    like = forms.ModelChoiceField(
        label=_("As an earlier clinic"),
        queryset=Clinic.objects.none(),
        required=False,
        empty_label=_("none: begin with nothing"),
    )

    def __init__(self, *args: Any, clinics: QuerySet[Clinic], **kw: Any) -> None:
        super().__init__(*args, **kw)
        field: Any = self.fields["like"]
        field.queryset = clinics
        field.label_from_instance = _named


def _named(clinic: Clinic) -> str:
    return f"{clinic.name}, {clinic.date:%Y-%m-%d}, {clinic.venue}"
