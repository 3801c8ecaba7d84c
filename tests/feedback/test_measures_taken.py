"""Measures in the report of a clinic and in what a swimmer takes along."""

from __future__ import annotations

import json
from typing import Any

import pytest
from django.test import Client

from feedback.actions.report import report_of
from tests.cast import Cast, make_member
from tests.feedback.test_export import fetch, make
from tests.feedback.test_measures_page import heard, mark

BREAKOUT = {
    "definition": "breakout-time",
    "number": 0,
    "at_m": None,
    "value": 8.58,  # 7.0 s + 40 / 25 s, less half a frame of 40 ms
    # half a frame of 20 ms, rectangular, with the clock's 3 ms and the start's 2 ms (GUM 4.3.7)
    "half_width_95": pytest.approx(0.0210, abs=0.0001),
    "unit": "s",
    "claim": "good",
}


def test_the_report_has_the_measures_of_each_swim(
    cast: Cast, django_assert_max_num_queries: Any
) -> None:
    heard(cast)
    mark(cast, 40, "breakout")
    told = {swim["id"]: swim["measures"] for swim in report_of(clinic=cast.clinic)["swims"]}
    assert told[str(cast.swims["tomas"].pk)] == [BREAKOUT]
    assert told[str(cast.swims["wren"].pk)] == []


def test_a_swimmer_takes_along_their_own_measures_with_how_sure_they_are(
    cast: Cast, client: Client
) -> None:
    heard(cast)
    mark(cast, 40, "breakout")
    pack = fetch(client, make(cast, client))
    (row,) = json.loads(pack.read("measures.json"))
    swim = row.pop("swim")
    assert row == BREAKOUT and swim.startswith("swims/2026-11-14")
    assert "measures.csv" in pack.namelist()


def test_marks_of_several_coaches_give_one_figure_to_the_swimmer(
    cast: Cast, client: Client
) -> None:
    heard(cast)
    make_member(cast.harbour, cast.other_coach, "coach")
    mark(cast, 40, "breakout")
    mark(cast, 42, "breakout", by=cast.other_coach)
    (row,) = json.loads(fetch(client, make(cast, client)).read("measures.json"))
    assert row["half_width_95"] > 0.1  # how far they are apart is part of it
