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
MAX_TEXT_CHARS = 1_000_000


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
    missing: Any  # the words when neither part of the first pair has come

    def clean(self) -> dict[str, Any]:
        said = super().clean() or self.cleaned_data
        for file_name, text_name in self.pairs:
            text = said.get(file_name) or said.get(text_name) or ""
            said[text_name] = text
            if text:
                shown = cast(QueryDict, self.data).copy()
                shown[self.add_prefix(text_name)] = text
                self.data = shown
        file_name, text_name = self.pairs[0]
        if not said.get(text_name) and not self.errors:
            self.add_error(file_name, self.missing)
        return said


def _text(label: Any, *, rows: int, example: str, max_chars: int = MAX_TEXT_CHARS) -> Any:
    attributes = {"rows": rows, "class": "code", "spellcheck": "false", "placeholder": example}
    return forms.CharField(
        label=label,
        required=False,
        strip=False,
        max_length=max_chars,
        widget=forms.Textarea(attrs=attributes),
    )


def _roster_text(rows: int) -> Any:
    columns = "number,name,email,adult,stroke,pace_s_per_100m,lane_group,start"
    return _text(_("or the roster's text"), rows=rows, example=columns)


class PlanForm(TextOrFileForm):
    pairs = (("plan_file", "plan"), ("roster_file", "roster"))
    missing = _("Choose the plan's file, or paste its text.")
    plan_file = TextFileField(label=_("Plan file (plan.toml)"), required=False)
    plan = _text(
        _("or the plan's text"), rows=14, example='format = "sidelane-plan/1"', max_chars=200_000
    )
    roster_file = TextFileField(label=_("Roster (CSV)"), required=False)
    roster = _roster_text(8)


class RosterForm(TextOrFileForm):
    pairs = (("roster_file", "roster"),)
    missing = _("Choose the roster's file, or paste its text.")
    roster_file = TextFileField(label=_("Roster (CSV)"), required=False)
    roster = _roster_text(12)


class LogForm(TextOrFileForm):
    pairs = (("log_file", "log"),)
    missing = _("Choose the log's file, or paste its text.")
    log_file = TextFileField(label=_("Start log (CSV)"), required=False)
    log = _text(_("or the log's text"), rows=8, example="instant,swimmer,outcome,note")
