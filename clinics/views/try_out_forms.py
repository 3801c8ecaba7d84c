"""Who swims in a try-out."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from clinics.actions.try_out import Who
from clinics.models import Swimmer


class BeginForm(forms.Form):
    """Two people: each chosen from those who agreed, or written down."""

    first = forms.ChoiceField(label=_("First swimmer"), required=False)
    first_name = forms.CharField(label=_("or a name"), required=False, max_length=120)
    second = forms.ChoiceField(label=_("Second swimmer"), required=False)
    second_name = forms.CharField(label=_("or a name"), required=False, max_length=120)
    attested = forms.BooleanField(
        label=_("Both are 18 or older, and both said that they agree to be filmed for this."),
        required=False,
    )

    def __init__(self, data: Any, *, swimmers: Sequence[Swimmer]) -> None:
        super().__init__(data)
        self.swimmers = {str(one.pk): one for one in swimmers}
        choices = [
            ("", _("not on the list")),
            *((pk, one.name) for pk, one in self.swimmers.items()),
        ]
        for name in ("first", "second"):
            self.fields[name].choices = choices  # type: ignore[attr-defined]

    def pairs(self) -> list[tuple[forms.BoundField, forms.BoundField]]:
        return [(self["first"], self["first_name"]), (self["second"], self["second_name"])]

    def who(self) -> list[Who]:
        said = self.cleaned_data
        return [
            Who(self.swimmers.get(said[name]), said[f"{name}_name"]) for name in ("first", "second")
        ]
