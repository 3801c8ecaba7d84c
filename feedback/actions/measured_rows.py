"""Measures as rows for programs and spreadsheets: figures, their ±, what may be said."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from feedback.compute.measuring.notation import claim
from feedback.compute.measuring.whole import Measured

FIELDS = ("definition", "number", "at_m", "value", "half_width_95", "unit", "claim")
DIGITS = 6


def rows_of(measured: Measured) -> Iterator[dict[str, Any]]:
    """By `FIELDS`. `number`: of the length or wall, 0 for the whole swim. `half_width_95`: the
    value ± this covers in 95 of 100 cases; 0 for a count. `claim`: good, rough or too-unsure."""
    for one in measured.measures:
        yield {
            "definition": one.key,
            "number": one.number,
            "at_m": one.at_m,
            "value": round(one.quantity.value, DIGITS),
            "half_width_95": round(one.quantity.half_width_95, DIGITS),
            "unit": one.unit.value,
            "claim": claim(one.quantity).value,
        }
