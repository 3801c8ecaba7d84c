"""Forms of the pages about keeping, holds and copies outside."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from clinics.actions.keeping_calendar import WHAT
from clinics.models import Clinic, ClubRules, Custody, Station
from portal.models import Club

MOST = {"months": 120, "days": 1000}


class RulesForm(forms.ModelForm):  # type: ignore[type-arg]
    class Meta:
        model = ClubRules
        fields = (
            "clips_after_next_days",
            "clips_at_most_months",
            "measures_months",
            "originals_days",
            "not_given_days",
            "upload_parts_days",
            "erase_after_days",
            "controller_name",
            "controller_address",
        )
        widgets = {"controller_address": forms.Textarea(attrs={"rows": 4})}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name, field in self.fields.items():
            if isinstance(field, forms.IntegerField):
                field.min_value = 0 if name == "erase_after_days" else 1
                field.max_value = MOST["months" if name.endswith("months") else "days"]
                field.widget.attrs |= {"min": field.min_value, "max": field.max_value}
                field.widget.attrs["inputmode"] = "numeric"

    def clean(self) -> dict[str, Any]:
        told = super().clean() or self.cleaned_data
        for name, field in self.fields.items():
            value = told.get(name)
            if not isinstance(field, forms.IntegerField) or value is None:
                continue
            if not (field.min_value or 0) <= value <= (field.max_value or value):
                limits = {"least": field.min_value, "most": field.max_value}
                self.add_error(name, _("Give a number from %(least)s to %(most)s.") % limits)
        return told

    def _post_clean(self) -> None:
        """The action saves, not the form: the row stays as it is until then."""


class CalendarForm(forms.Form):
    what = forms.ChoiceField(label=_("What"), required=False)
    clinic = forms.ModelChoiceField(
        label=_("Clinic"), queryset=Clinic.objects.none(), required=False, empty_label=_("all")
    )

    def __init__(self, *args: Any, club: Club, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["what"].choices = [("", _("all")), *WHAT.items()]  # type: ignore[attr-defined]
        self.fields["clinic"].queryset = Clinic.objects.filter(club=club)  # type: ignore[attr-defined]


class HoldForm(forms.Form):
    reason = forms.CharField(
        label=_("Why it is held"),
        help_text=_("A sentence for who looks at it again. No more about the person than needed."),
        max_length=400,
        widget=forms.Textarea(attrs={"rows": 3}),
    )
    review_on = forms.DateField(
        label=_("Look at it again on"), widget=forms.DateInput(attrs={"type": "date"})
    )


class CustodyForm(forms.Form):
    kind = forms.ChoiceField(label=_("What it is"), choices=Custody.Kind.choices)
    label = forms.CharField(label=_("What is written on it"), max_length=120)
    holder = forms.CharField(label=_("Handed to"), max_length=120)
    station = forms.ModelChoiceField(
        label=_("For which station"),
        queryset=Station.objects.none(),
        required=False,
        empty_label=_("none"),
    )

    def __init__(self, *args: Any, clinic: Clinic, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["station"].queryset = clinic.stations.all()  # type: ignore[attr-defined]
