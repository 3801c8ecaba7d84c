"""What computing said with figures and days, in the reader's language and way of writing them."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.utils.formats import date_format, number_format

from clinics.compute.errors import Said, say
from clinics.views.words import said


def told(sentence: str) -> str:
    """As `said`, with the reader's decimal sign and dates."""
    if not isinstance(sentence, Said) or not sentence.values:
        return said(sentence)
    values = {name: _here(value) for name, value in sentence.values.items()}
    return said(say(sentence.pattern, **values))


def _here(value: Any) -> Any:
    if isinstance(value, float):
        return number_format(f"{value:.10g}")
    if isinstance(value, dt.date):
        return date_format(value, "DATE_FORMAT")
    return told(value) if isinstance(value, Said) else value
