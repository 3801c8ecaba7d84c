"""Forms of the pool hour and of the running order."""

from __future__ import annotations

import json
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from clinics.actions.running_order import NAME_CHARS, Arrangement
from clinics.models import PoolHour

MOST_CHARS = 20_000  # of a whole running order


class PoolHourForm(forms.ModelForm):  # type: ignore[type-arg]
    class Meta:
        model = PoolHour
        fields = [
            "begins",
            "minutes",
            "briefing_s",
            "change_over_s",
            "climbing_out_s",
            "reserve_s",
            "rest_s",
            "briefs_on_deck",
        ]
        widgets = {"begins": forms.TimeInput(attrs={"type": "time"}, format="%H:%M")}
        help_texts = {
            "begins": _("In the pool's own time, as 10:30."),
            "minutes": _("From then until everybody is out of the water."),
            "briefing_s": _(
                "What each group is told before its first start: signal, way, where to climb out. "
                "Usual: 60."
            ),
            "change_over_s": _(
                "From the last of a group out to the next group standing ready. Usual: 30."
            ),
            "climbing_out_s": _(
                "From the end of a go until the lane is clear; the next swimmer is called "
                "meanwhile. Usual: 10."
            ),
            "reserve_s": _("Not given to anybody, for what goes wrong. Usual: 0."),
            "rest_s": _("From out of the water to the next start of the same swimmer. Usual: 180."),
            "briefs_on_deck": _(
                "Needs somebody who briefs and is not the starter. Otherwise the lane rests "
                "meanwhile."
            ),
        }


class OrderForm(forms.Form):
    """One change of the running order; what each act needs besides is its own."""

    act = forms.ChoiceField(
        choices=[(each, each) for each in ("up", "down", "move", "group-up", "group-down", "take")]
    )
    number = forms.IntegerField(min_value=1, required=False)
    group = forms.CharField(max_length=NAME_CHARS, required=False)
    place = forms.IntegerField(min_value=1, max_value=10_000, required=False)
    order = forms.CharField(max_length=MOST_CHARS, required=False)

    def clean_order(self) -> Arrangement:
        try:
            found = json.loads(self.cleaned_data["order"] or "[]")
            return [(str(name), [int(number) for number in its]) for name, its in found]
        except (TypeError, ValueError):
            raise ValidationError(_("This running order cannot be read.")) from None

    def clean(self) -> dict[str, Any]:
        said = super().clean() or self.cleaned_data
        needs = {"up": "number", "down": "number", "move": "number", "take": "order"}
        missing = needs.get(said.get("act", ""), "group")
        if not self.errors and not said.get(missing):
            self.add_error(missing, _("Choose what to move."))
        return said
