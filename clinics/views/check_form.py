"""What a checker says about one swim. Nothing is ticked beforehand."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from clinics.models import Entry, Swim, Swimmer
from portal.row_field import RowChoiceField

NEAR = dt.timedelta(seconds=90)  # who starts so close is likely in the same picture


class CheckForm(forms.Form):
    """Who is it, who else can be recognised, and what to do next."""

    person = forms.ChoiceField(
        choices=[("number", ""), ("face", ""), ("other", "")],
        required=False,
        error_messages={"invalid_choice": gettext_lazy("Choose one of the three.")},
    )
    entry = RowChoiceField(Entry.objects.none(), required=False)
    nobody = forms.BooleanField(required=False)
    others = forms.ModelMultipleChoiceField(Swimmer.objects.none(), required=False)
    then = forms.ChoiceField(choices=[("save", ""), ("pass", "")], required=False)

    def __init__(self, *args: Any, swim: Swim, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.swim = swim
        clinic = swim.entry.clinic
        entries = clinic.entries.exclude(pk=swim.entry_id).select_related("swimmer")
        self.fields["entry"].queryset = entries.order_by("number")  # type: ignore[attr-defined]
        people = Swimmer.objects.filter(entries__in=entries).order_by("name")
        self.fields["others"].queryset = people  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        told = super().clean() or {}
        if told.get("person") == "other" and told.get("entry") is None:
            self.add_error("entry", _("Choose who it is."))
        if told.get("nobody") and told.get("others"):
            self.add_error("others", _("Either “nobody else”, or the people who can be seen."))
        return told

    def found(self) -> dict[str, Any]:
        """As `clinics.actions.check.look_at` takes it."""
        told = self.cleaned_data
        others = [] if told["nobody"] else (list(told["others"]) or None)
        return {
            "seen": told["person"],
            "others": others,
            "pass_on": told["then"] == "pass",
        }

    def somebody_else(self) -> Entry | None:
        """Whose swim it is, if not whose it is noted for."""
        told = self.cleaned_data
        return told["entry"] if told["person"] == "other" else None

    # --- for the template ---------------------------------------------------------------------

    def chosen_person(self) -> str:
        if self.is_bound:
            return str(self.data.get("person", ""))
        if self.swim.person != Swim.Person.CONFIRMED:
            return ""
        return "face" if self.swim.number_seen is None else "number"

    def nobody_chosen(self) -> bool:
        if self.is_bound:
            return bool(self.data.get("nobody"))
        return self.swim.others_recorded_at is not None and not self._recorded()

    def _recorded(self) -> set[str]:
        return {str(row.swimmer_id) for row in self.swim.recognised.all()}

    def people(self) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
        """Those who swam about that time, then the others of the clinic."""
        chosen = self._recorded()
        if self.is_bound:
            chosen = set(self.data.getlist("others"))  # type: ignore[attr-defined]
        start_at = self.swim.start_at
        around = Swim.objects.filter(
            entry__clinic_id=self.swim.entry.clinic_id,
            start_at__gte=start_at - NEAR,
            start_at__lte=start_at + NEAR,
        )
        near = set(around.values_list("entry__swimmer_id", flat=True))
        told = [
            {"swimmer": person, "chosen": str(person.pk) in chosen, "near": person.pk in near}
            for person in self.fields["others"].queryset  # type: ignore[attr-defined]
        ]
        return [p for p in told if p["near"]], [p for p in told if not p["near"]]
