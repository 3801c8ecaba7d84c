"""Tables as CSV, for spreadsheets: a cell is never a formula there."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from numbers import Number

from django.http import HttpResponse
from django.utils.http import content_disposition_header

# With these a spreadsheet takes a cell for a formula, or ends it; their wide forms as well
# (OWASP, “CSV Injection”).
STARTS_A_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
BYTE_ORDER_MARK = "\ufeff"  # else a spreadsheet shows the accents of names as something else


def cell(value: object) -> str:
    """The value as text. Numbers stay as they are, a minus in front too: they hold no words.

    >>> cell("=1+1"), cell(" @here"), cell(-1.5), cell(None)
    ("'=1+1", "' @here", '-1.5', '')
    """
    if value is None:
        return ""
    text = str(value)
    if isinstance(value, Number) or not text.lstrip(" ").startswith(STARTS_A_FORMULA):
        return text
    return f"'{text}"


def csv_text(header: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """As RFC 4180 has it: commas, quotes where needed, lines that end with CR LF."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow([cell(name) for name in header])
    writer.writerows([cell(value) for value in row] for row in rows)
    return out.getvalue()


def csv_response(
    name: str, header: Sequence[str], rows: Iterable[Sequence[object]]
) -> HttpResponse:
    """A table to download as `name`. UTF-8 with a byte order mark; no cache keeps it."""
    body = (BYTE_ORDER_MARK + csv_text(header, rows)).encode()
    disposition = content_disposition_header(as_attachment=True, filename=name)
    return HttpResponse(
        body,
        content_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": disposition, "Cache-Control": "private, no-store"},
    )
