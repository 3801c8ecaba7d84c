"""A form's choice of a row."""

from __future__ import annotations

from typing import Any

from django import forms


class RowChoiceField(forms.ModelChoiceField):
    """What is no key at all is a row that is not there, too, in the form's own words; Django says
    of a text that it is no UUID."""

    def to_python(self, value: Any) -> Any:
        try:
            return super().to_python(value)
        except forms.ValidationError as problem:
            words = self.error_messages["invalid_choice"]
            raise forms.ValidationError(
                words, "invalid_choice", params={"value": value}
            ) from problem
