"""Which measures, which stills and whether last time: what a coach puts on a take-home page."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from feedback.compute.take_home import MOST_MEASURES, MOST_STILLS, Choice

Choices = Sequence[tuple[str, str]]
_GONE = gettext_lazy(
    "One of the measures or stills is no longer there. Look at the list and choose again."
)


class _Ticks(forms.MultipleChoiceField):
    """Boxes to tick, of which none has to be."""

    def __init__(self, choices: Choices) -> None:
        super().__init__(
            choices=choices, required=False, error_messages={"invalid_choice": str(_GONE)}
        )


class TakeHomeForm(forms.Form):
    """`measures` and `stills`: key and name of what there is; `before`: id of last time's swim,
    "" where there is none. `choice()` is what was ticked, `sentences()` what is wrong."""

    compare = forms.BooleanField(required=False)

    def __init__(self, data: Any, *, measures: Choices, stills: Choices, before: str) -> None:
        super().__init__(data)
        self.before = before
        self.fields["measures"] = _Ticks(measures)
        self.fields["stills"] = _Ticks(stills)

    def clean_measures(self) -> list[str]:
        keys: list[str] = self.cleaned_data["measures"]
        if len(keys) > MOST_MEASURES:
            over = len(keys) - MOST_MEASURES
            told = ngettext(
                "At most %(most)d measures fit on the page: take %(over)d off.",
                "At most %(most)d measures fit on the page: take %(over)d off.",
                over,
            )
            raise ValidationError(told % {"most": MOST_MEASURES, "over": over})
        return keys

    def clean_stills(self) -> list[str]:
        keys: list[str] = self.cleaned_data["stills"]
        if len(keys) > MOST_STILLS:
            told = _("At most %(most)d stills fit on the page: take one off.")
            raise ValidationError(told % {"most": MOST_STILLS})
        return keys

    def choice(self) -> Choice:
        told = self.cleaned_data
        before = self.before if told["compare"] else ""
        return Choice(tuple(told["measures"]), tuple(told["stills"]), before)

    def sentences(self) -> list[str]:
        """Each once."""
        return list(dict.fromkeys(str(one) for its in self.errors.values() for one in its))
