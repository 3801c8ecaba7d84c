"""The data package of a clinic's measures: what its schema says is what its tables hold.

Checked against what the standards require, version 1: Data Package and Tabular Data Resource
(specs.frictionlessdata.io: a package has resources; a resource has a name and a path or data),
Table Schema (its JSON schema, github.com/frictionlessdata/schemas, json-table-schema.json: fields
have a name and a type of its list; foreign keys have fields and a reference, and that a resource
and fields).
"""

from __future__ import annotations

import csv
import datetime as dt
import hashlib
import io
import json
import re
import zipfile
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from feedback.models import Mark
from tests.cast import Cast, sign_in
from tests.feedback.marked_swims import mark_swim
from tests.feedback.measuring.swims import TRUTH
from tests.feedback.said import another_go

TYPES = (
    "string number integer date time datetime boolean object geopoint geojson array duration any"
).split()
READ = {
    "string": str,
    "number": float,
    "integer": int,
    "datetime": lambda text: dt.datetime.strptime(text, "%Y-%m-%dT%H:%M:%S.%fZ"),
}


@pytest.fixture(autouse=True)
def no_second_factor(settings: Any) -> None:
    settings.SECOND_FACTOR_REQUIRED = False


@pytest.fixture
def marked(cast: Cast) -> Cast:
    swim, recording = cast.swims["tomas"], cast.recordings["start-side"]
    mark_swim(swim, recording, cast.coach)
    mark_swim(another_go(swim, 2), recording, cast.coach, truth=TRUTH[:6])
    mark_swim(cast.swims["sol"], recording, cast.coach, truth=TRUTH[:6])  # withdrew
    mark_swim(cast.swims["other"], cast.recordings["other"], cast.other_coach, truth=TRUTH[:6])
    return cast


def package(cast: Cast, **asked: str) -> tuple[dict[str, Any], dict[str, bytes]]:
    url = reverse("feedback:measures-package", args=[cast.clinic.pk])
    answer = sign_in(Client(), cast.coach).get(url, asked)
    assert answer.status_code == 200
    assert answer["Content-Type"] == "application/zip"
    assert answer["Cache-Control"] == "private, no-store"
    archive = zipfile.ZipFile(io.BytesIO(answer.content))
    files = {name: archive.read(name) for name in archive.namelist()}
    return json.loads(files.pop("datapackage.json")), files


def rows(content: bytes) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(content.decode(), newline="")))


def tables(cast: Cast, **asked: str) -> dict[str, list[dict[str, str]]]:
    _told, files = package(cast, **asked)
    return {name.removesuffix(".csv"): rows(content) for name, content in files.items()}


def test_the_descriptor_has_what_the_standards_require(marked: Cast) -> None:
    told, files = package(marked)
    assert told["profile"] == "tabular-data-package"
    assert re.fullmatch(r"[a-z0-9._-]+", told["name"])
    assert {one["path"] for one in told["resources"]} == set(files)
    for one in told["resources"]:
        assert one["profile"] == "tabular-data-resource"
        assert re.fullmatch(r"[a-z0-9._-]+", one["name"])
        assert one["bytes"] == len(files[one["path"]])
        assert one["hash"] == "sha256:" + hashlib.sha256(files[one["path"]]).hexdigest()
        assert all(f["name"] and f["type"] in TYPES for f in one["schema"]["fields"])
        names = [f["name"] for f in one["schema"]["fields"]]
        assert len(set(names)) == len(names)
        assert set(one["schema"]["primaryKey"]) <= set(names)
        for key in one["schema"]["foreignKeys"]:
            assert key["fields"] in names and set(key["reference"]) == {"resource", "fields"}


@pytest.mark.parametrize("asked", [{}, {"names": "yes"}])
def test_every_cell_is_what_the_schema_says(marked: Cast, asked: dict[str, str]) -> None:
    told, files = package(marked, **asked)
    for one in told["resources"]:
        found, fields = rows(files[one["path"]]), one["schema"]["fields"]
        assert found, one["name"]
        assert list(found[0]) == [f["name"] for f in fields]
        for row in found:
            for f in fields:
                check_cell(f, row[f["name"]])
        keys = [tuple(row[name] for name in one["schema"]["primaryKey"]) for row in found]
        assert len(set(keys)) == len(keys) and all(all(key) for key in keys)


def check_cell(field: dict[str, Any], text: str) -> None:
    rules = field.get("constraints", {})
    if text == "":
        assert not rules.get("required"), field["name"]
        return
    value = READ[field["type"]](text)
    assert text in rules.get("enum", [text])
    assert "minimum" not in rules or value >= rules["minimum"]  # type: ignore[operator]


def test_foreign_keys_lead_somewhere(marked: Cast) -> None:
    told, files = package(marked)
    found = {one["name"]: rows(files[one["path"]]) for one in told["resources"]}
    for one in told["resources"]:
        for key in one["schema"]["foreignKeys"]:
            there = key["reference"]
            known = {row[there["fields"]] for row in found[there["resource"]]}
            assert {row[key["fields"]] for row in found[one["name"]]} <= known


def test_units_stand_in_the_description_of_each_column_of_figures(marked: Cast) -> None:
    told, _files = package(marked)
    units = {
        f["name"]: f["unit"]
        for one in told["resources"]
        for f in one["schema"]["fields"]
        if "unit" in f
    }
    assert units == {
        "start_u95_s": "s",
        "course_m": "m",
        "distance_m": "m",
        "turn_from_m": "m",
        "turn_to_m": "m",
        "at_m": "m",
        "frame_s": "s",
        "interval_s": "s",
        "clock_u_s": "s",
        "distance_u_m": "m",
    }
    measured = {row["key"]: row["unit"] for row in tables(marked)["measures"]}
    assert (measured["flight-time"], measured["stroke-rate"]) == ("s", "/min")
    assert measured["stroke-count"] == ""


def test_measures_and_marks_are_those_of_the_swims(marked: Cast) -> None:
    found = tables(marked)
    assert [row["swim"] for row in found["swims"]] == ["1-1", "1-2", "2-1"]
    contact = [r for r in found["measures"] if (r["swim"], r["key"]) == ("1-1", "turn-contact")]
    assert float(contact[0]["value"]) == pytest.approx(0.37, abs=0.04)
    assert (contact[0]["number"], contact[0]["at_m"]) == ("1", "25.0")
    marks = [row for row in found["marks"] if row["swim"] == "1-1"]
    assert len(marks) == len(TRUTH)
    breakout = next(row for row in marks if row["kind"] == "breakout")
    assert float(breakout["frame_s"]) == pytest.approx(4.62 + 0.02, abs=0.021)
    assert (breakout["interval_s"], breakout["clock_u_s"]) == ("0.04", "0.012")
    assert breakout["view"] == "start-side 1"


def test_names_and_accounts_stay_out_unless_they_are_asked_for(marked: Cast) -> None:
    _told, files = package(marked)
    everything = b"".join(files.values()).decode()
    for word in ("Tomas", "Birk", "Wren", "Aldana", "@", str(marked.coach.pk)):
        assert word not in everything
    assert {row["placed_by"] for row in tables(marked)["marks"]} == {"a"}
    named = tables(marked, names="yes")
    assert [row["name"] for row in named["swims"]] == ["Tomas Birk", "Tomas Birk", "Wren Okada"]
    assert "Aldana" not in json.dumps(named)


def test_who_withdrew_and_another_club_are_not_in_it(marked: Cast) -> None:
    found = tables(marked, names="yes")
    assert "3-1" not in {row["swim"] for row in found["swims"] + found["marks"]}
    assert "Kit Maddern" not in {row["name"] for row in found["swims"]}
    assert len(found["marks"]) == len(TRUTH) + 6


def test_a_mark_whose_clock_nobody_knows_has_no_time(marked: Cast) -> None:
    fit = marked.recordings["start-side"].clock_fit
    type(fit).objects.filter(pk=fit.pk).update(zero_at=None, u_ms=None, state="not-found")
    found = [row for row in tables(marked)["marks"] if row["swim"] == "1-1"]
    assert Mark.objects.filter(swim=marked.swims["tomas"]).count() == len(found)
    assert {(row["frame_s"], row["clock_u_s"]) for row in found} == {("", "")}
