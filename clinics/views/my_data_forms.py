"""Forms of My data."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from portal.models import PersonRequest

Kind = PersonRequest.Kind


class EraseForm(forms.Form):
    sure = forms.BooleanField(label=_("Yes, erase all of this."))


class WordsForm(forms.Form):
    words = forms.CharField(
        label=_("What do you want to know, or have changed?"),
        max_length=1000,
        widget=forms.Textarea(attrs={"rows": 3}),
    )


class SwimForm(forms.Form):
    wish = forms.ChoiceField(
        label=_("What do you wish?"),
        choices=[
            (Kind.KEEP_LONGER.value, _("Keep it longer: the club decides, and answers you")),
            (Kind.DELETE_NOW.value, _("Delete it now: its clips, and what was said about it")),
        ],
        widget=forms.RadioSelect,
    )
    words = forms.CharField(
        label=_("Why, and until when (only for keeping)"),
        required=False,
        max_length=1000,
        widget=forms.Textarea(attrs={"rows": 3}),
    )

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if data.get("wish") == Kind.KEEP_LONGER and not data.get("words", "").strip():
            self.add_error("words", _("Say until when you would like it kept."))
        return data
