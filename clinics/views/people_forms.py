"""Forms of the page that says who does what."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from clinics.actions.people_at_posts_acts import MOST_DIVES
from clinics.actions.people_at_posts_visits import VISITS_AS


def day_input() -> forms.DateInput:
    return forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")


class PutForm(forms.Form):
    post = forms.CharField(max_length=80)
    person = forms.UUIDField()


class TakeOffForm(forms.Form):
    duty = forms.UUIDField()


class StayForm(forms.Form):
    membership = forms.UUIDField()
    until = forms.DateField(widget=day_input())


class DivesForm(forms.Form):
    most_each = forms.IntegerField(
        label=_("At most so many dives each, as agreed with the lifeguard"),
        required=False,
        min_value=1,
        max_value=MOST_DIVES,
        widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
    )


class VisitorForm(forms.Form):
    email = forms.EmailField(label=_("E-mail"), max_length=254)
    name = forms.CharField(
        label=_("Name"),
        max_length=120,
        help_text=_("Stands in the consent text, so that swimmers know who comes."),
    )
    role = forms.ChoiceField(
        label=_("As"), choices=[(role.value, role.label) for role in VISITS_AS], initial="crew"
    )
    until = forms.DateField(label=_("Last day"), required=False, widget=day_input())
    post = forms.ChoiceField(label=_("Post"), required=False)

    def __init__(self, *args: Any, posts: Sequence[tuple[str, str]], ends: Any, **kw: Any) -> None:
        super().__init__(*args, **kw)
        field: Any = self.fields["post"]
        field.choices = [("", _("none yet")), *posts]
        self.fields["until"].help_text = ends
