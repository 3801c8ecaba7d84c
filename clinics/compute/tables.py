"""Reads tables that people export from spreadsheets: whole or not at all, every bad cell named.

Comma or semicolon, UTF-8 with or without a mark, or the Windows Western code page.
"""

from __future__ import annotations

import csv
import io
import unicodedata
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from clinics.compute.errors import BadInput
from clinics.compute.errors import say as _

MAX_CHARACTERS = 2_000_000
MAX_ROWS = 5_000


@dataclass(frozen=True)
class Row:
    """One row of a table: `number` as a spreadsheet shows it, the header being row 1."""

    number: int
    cells: Mapping[str, str]


@dataclass
class Complaints:
    """Collects what is wrong in one file, named by row and column."""

    source: str
    errors: list[tuple[str, str]] = field(default_factory=list)

    def add(self, sentence: str, *, row: int | None = None, column: str = "") -> None:
        where = self.source
        if row is not None:
            where = _("%(place)s, row %(row)s", place=where, row=row)
        if column:
            where = _("%(place)s, column “%(column)s”", place=where, column=column)
        self.errors.append((where, sentence))

    def raise_if_any(self) -> None:
        if self.errors:
            raise BadInput(self.errors)


def decode_text(content: bytes, *, source: str) -> str:
    """Text of a file in UTF-8 (with or without a byte order mark) or else cp1252."""
    if content[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return content.decode("utf-16", errors="replace").lstrip("\ufeff")
    if b"\x00" in content:
        sentence = _("this is not a text file. Export the table as CSV, in UTF-8.")
        raise BadInput([(source, sentence)])
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        return content.decode("cp1252", errors="replace")


def unprintable(text: str) -> bool:
    """Whether text holds control characters or marks that turn the reading direction."""
    return any(unicodedata.category(char) in {"Cc", "Cf", "Cs", "Zl", "Zp"} for char in text)


def tidy(text: str) -> str:
    """One line of text as it is kept: composed form, single spaces, none at the ends."""
    return " ".join(unicodedata.normalize("NFC", text).split())


def read_table(
    text: str,
    *,
    complaints: Complaints,
    required: Sequence[str],
    optional: Sequence[str] = (),
    also_called: Mapping[str, str] | None = None,
) -> list[Row]:
    """Rows of a CSV text with the named columns, in any order; blank rows are skipped.

    Raises BadInput at once when the header does not fit: then no row can be judged.
    """
    if len(text) > MAX_CHARACTERS:
        complaints.add(_("is far too long for such a table."))
        complaints.raise_if_any()
    records = list(_records(text.lstrip("\ufeff"), complaints))
    if not records:
        names = ", ".join(required)
        complaints.add(_("is empty. Its first row must name the columns: %(names)s.", names=names))
        complaints.raise_if_any()
    columns = _columns(records[0][1], complaints, required, optional, also_called or {})
    complaints.raise_if_any()
    return list(_rows(records[1:], columns, complaints))


def _records(text: str, complaints: Complaints) -> list[tuple[int, list[str]]]:
    """Rows with their numbers, blank ones left out; row numbers count rows, not lines."""
    first_line = text.split("\n", 1)[0]
    delimiter = max(",;\t", key=first_line.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    records: list[tuple[int, list[str]]] = []
    try:
        for number, cells in enumerate(reader, start=1):
            if any(cell.strip() for cell in cells):
                records.append((number, cells))
            if len(records) > MAX_ROWS:
                complaints.add(_("has more than %(count)s rows.", count=MAX_ROWS))
                break
    except csv.Error as problem:
        complaints.add(_("is no proper CSV (%(problem)s).", problem=problem), row=reader.line_num)
    complaints.raise_if_any()
    return records


def _columns(
    header: list[str],
    complaints: Complaints,
    required: Sequence[str],
    optional: Sequence[str],
    also_called: Mapping[str, str],
) -> list[str]:
    known = [*required, *optional]
    names = []
    for cell in header:
        name = tidy(cell).lower()
        names.append(also_called.get(name, name))
    for shown, name in zip(header, names, strict=True):
        if name and name not in known:
            complaints.add(
                _(
                    "is not a column of this table. Known columns: %(known)s.",
                    known=", ".join(known),
                ),
                row=1,
                column=shown.strip(),
            )
    for name in known:
        if names.count(name) > 1:
            complaints.add(_("stands there twice."), row=1, column=name)
    for name in required:
        if name not in names:
            complaints.add(_("is missing from the first row."), row=1, column=name)
    return names


def _rows(
    records: list[tuple[int, list[str]]], columns: list[str], complaints: Complaints
) -> list[Row]:
    rows = []
    for number, cells in records:
        if any(cell.strip() for cell in cells[len(columns) :]):
            complaints.add(
                _(
                    "has %(cells)s cells, but there are %(columns)s columns.",
                    cells=len(cells),
                    columns=len(columns),
                ),
                row=number,
            )
        padded = [*cells, *[""] * len(columns)]
        named = zip(columns, padded, strict=False)
        rows.append(Row(number, {name: cell.strip() for name, cell in named if name}))
    return rows


def one_of(value: str, choices: Mapping[str, str], complain: Callable[[str], None]) -> str | None:
    """The chosen word, whatever its case; complains with all that is allowed."""
    key = tidy(value).lower().replace(" ", "-")
    if key in choices:
        return choices[key]
    allowed = ", ".join(dict.fromkeys(choices.values()))
    told = _("“%(value)s” is not known. Write one of: %(known)s.", value=value, known=allowed)
    complain(told)
    return None


def number_in(
    value: str, low: float, high: float, complain: Callable[[str], None], unit: str
) -> float | None:
    """A number within limits; a decimal comma is read as a point."""
    said = {"value": value, "low": f"{low:g}", "high": f"{high:g}", "unit": unit}
    try:
        number = float(value.replace(",", "."))
    except ValueError:
        complain(_("“%(value)s” is not a number. Write %(low)s to %(high)s (%(unit)s).", **said))
        return None
    if not low <= number <= high:
        complain(_("“%(value)s” is outside %(low)s to %(high)s (%(unit)s).", **said))
        return None
    return number


def whole_in(value: str, low: int, high: int, complain: Callable[[str], None]) -> int | None:
    """A whole number within limits, written in plain digits."""
    if not (value.isascii() and value.isdigit()) or not low <= int(value) <= high:
        said: dict[str, object] = {"value": value, "low": low, "high": high}
        complain(_("“%(value)s” is not a whole number from %(low)s to %(high)s.", **said))
        return None
    return int(value)
