"""Tables as CSV: no cell is a formula in a spreadsheet."""

from __future__ import annotations

import csv
import io

import pytest

from portal.csv_out import csv_response, csv_text


# Source: OWASP, “CSV Injection”: = + - @ tab, carriage return, line feed, and their wide forms.
@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠"])
def test_a_cell_that_would_be_a_formula_is_prefixed(start: str) -> None:
    evil = f'{start}HYPERLINK("//elsewhere")'
    [header, row] = list(csv.reader(io.StringIO(csv_text([evil], [[evil]]), newline="")))
    assert header == row == [f"'{evil}"]


def test_a_formula_behind_spaces_is_prefixed_too() -> None:
    assert csv_text(["a"], [["  =1+1"]]) == "a\r\n'  =1+1\r\n"


def test_a_line_cannot_be_smuggled_in_by_a_name() -> None:
    rows = [['Nia "=1", X\r\n=2,3', "next"]]
    assert list(csv.reader(io.StringIO(csv_text(["a", "b"], rows), newline="")))[1:] == rows


def test_numbers_and_nothing_stay_as_they_are() -> None:
    assert csv_text(["a", "b", "c"], [[-1.5, None, 0]]) == "a,b,c\r\n-1.5,,0\r\n"


def test_a_table_is_sent_to_be_saved_and_kept_by_no_cache() -> None:
    response = csv_response("Séance = 1.csv", ["nom"], [["Élodie"]])
    assert response.content.decode() == "\ufeffnom\r\nÉlodie\r\n"
    assert response["Content-Type"] == "text/csv; charset=utf-8"
    assert response["Content-Disposition"].startswith("attachment; filename*=utf-8''S%C3%A9ance")
    assert response["Cache-Control"] == "private, no-store"
