"""What somebody types to show a swim on."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _


class ShareForm(forms.Form):
    days = forms.TypedChoiceField(
        label=_("How long it works"),
        choices=[(1, _("a day")), (7, _("a week")), (30, _("a month")), (90, _("three months"))],
        coerce=int,
        initial=7,
    )
    note = forms.CharField(label=_("For whom (only you see this)"), required=False, max_length=120)
    phrase = forms.CharField(
        label=_("Pass phrase, if you want one"),
        help_text=_("Tell it apart from the link: by telephone, say."),
        required=False,
        min_length=6,
        max_length=100,
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )

    def said(self) -> dict[str, Any]:
        told = self.cleaned_data
        lasts = dt.timedelta(days=told["days"])
        return {"lasts": lasts, "note": told["note"], "phrase": told["phrase"]}


class PhraseForm(forms.Form):
    phrase = forms.CharField(
        label=_("Pass phrase"),
        max_length=100,
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )


class ShelfForm(forms.Form):
    fault = forms.CharField(
        label=_("What it shows"),
        help_text=_("The fault, as you would look for it: “knees drawn under before the kick”."),
        max_length=120,
    )
    remedy = forms.CharField(
        label=_("What helps"), max_length=400, widget=forms.Textarea(attrs={"rows": 3})
    )
