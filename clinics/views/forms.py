"""Text files that are uploaded with a form, or typed into it; and what stays typed."""

from __future__ import annotations

from typing import Any, cast

from django import forms
from django.core.exceptions import ValidationError
from django.http import QueryDict
from django.utils.translation import gettext_lazy as _

from clinics.actions.errors import BadInput
from clinics.compute.tables import decode_text
from clinics.views.words import in_words

MAX_TEXT_BYTES = 2_000_000


class TextFileField(forms.FileField):
    """A small text file; its cleaned value is the text."""

    def clean(self, data: Any, initial: Any = None) -> Any:
        uploaded = super().clean(data, initial)
        if not uploaded:
            return ""
        if uploaded.size > MAX_TEXT_BYTES:
            raise ValidationError(_("This file is too large for a table of text."))
        try:
            return decode_text(uploaded.read(), source=uploaded.name)
        except BadInput as bad:
            raise ValidationError(in_words(bad).lines()) from None


class TextOrFileForm(forms.Form):
    """Pairs of a file and a text area: a file chosen comes before what stands in the area, and
    is put there, so that a mistake can be corrected on the page and nothing typed is lost."""

    pairs: tuple[tuple[str, str], ...] = ()

    def clean(self) -> dict[str, Any]:
        said = super().clean() or self.cleaned_data
        for file_name, text_name in self.pairs:
            text = said.get(file_name) or said.get(text_name) or ""
            said[text_name] = text
            if text:
                shown = cast(QueryDict, self.data).copy()
                shown[self.add_prefix(text_name)] = text
                self.data = shown
        return said


def _area(rows: int, example: str) -> forms.Textarea:
    return forms.Textarea(
        attrs={"rows": rows, "class": "code", "spellcheck": "false", "placeholder": example}
    )


class PlanForm(TextOrFileForm):
    pairs = (("plan_file", "plan"), ("roster_file", "roster"))
    plan_file = TextFileField(label=_("Plan file (plan.toml)"), required=False)
    plan = forms.CharField(
        label=_("or the plan's text"),
        required=False,
        strip=False,
        max_length=200_000,
        widget=_area(14, 'format = "sidelane-plan/1"'),
    )
    roster_file = TextFileField(label=_("Roster (CSV)"), required=False)
    roster = forms.CharField(
        label=_("or the roster's text"),
        required=False,
        strip=False,
        max_length=1_000_000,
        widget=_area(8, "number,name,email,adult,stroke,pace_s_per_100m,lane_group,start"),
    )

    def clean(self) -> dict[str, Any]:
        said = super().clean()
        if not said.get("plan") and not self.errors:
            self.add_error("plan_file", _("Choose the plan's file, or paste its text."))
        return said


class RosterForm(TextOrFileForm):
    pairs = (("roster_file", "roster"),)
    roster_file = TextFileField(label=_("Roster (CSV)"), required=False)
    roster = forms.CharField(
        label=_("or the roster's text"),
        required=False,
        strip=False,
        max_length=1_000_000,
        widget=_area(12, "number,name,email,adult,stroke,pace_s_per_100m,lane_group,start"),
    )

    def clean(self) -> dict[str, Any]:
        said = super().clean()
        if not said.get("roster") and not self.errors:
            self.add_error("roster_file", _("Choose the roster's file, or paste its text."))
        return said


class LogForm(TextOrFileForm):
    pairs = (("log_file", "log"),)
    log_file = TextFileField(label=_("Start log (CSV)"), required=False)
    log = forms.CharField(
        label=_("or the log's text"),
        required=False,
        strip=False,
        max_length=1_000_000,
        widget=_area(8, "instant,swimmer,outcome,note"),
    )

    def clean(self) -> dict[str, Any]:
        said = super().clean()
        if not said.get("log") and not self.errors:
            self.add_error("log_file", _("Choose the log's file, or paste its text."))
        return said
