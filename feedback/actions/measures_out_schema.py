"""What the tables of a data package hold, column by column, and its `datapackage.json`.

After the open standards Data Package, Tabular Data Resource and Table Schema, version 1
(specs.frictionlessdata.io; required properties as in the JSON schemas that it publishes). A
`unit` on a field is ours: the standards let a descriptor have further properties.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from clinics.compute.errors import Said
from feedback.compute.measuring.events import Event

DIALECT = {
    "delimiter": ",",
    "doubleQuote": True,
    "quoteChar": '"',
    "lineTerminator": "\r\n",
    "header": True,
    "skipInitialSpace": False,
}
SWIM_KEY = "number and go, as in 12-1: swimmer 12, first go"
PLUS_MINUS = "half-width of the interval that covers the value in 95 of 100 cases"


@dataclass(frozen=True)
class Field:
    """`type` as Table Schema names it. Without `needed` the cell may be empty: not known."""

    name: str
    type: str
    says: str
    unit: str = ""
    needed: bool = True
    one_of: tuple[str, ...] = ()
    least: float | None = None

    def described(self) -> dict[str, Any]:
        told: dict[str, Any] = {"name": self.name, "type": self.type, "description": self.says}
        if self.unit:
            told["unit"] = self.unit
        constraints: dict[str, Any] = {"required": True} if self.needed else {}
        if self.one_of:
            constraints["enum"] = list(self.one_of)
        if self.least is not None:
            constraints["minimum"] = self.least
        return {**told, "constraints": constraints} if constraints else told


@dataclass(frozen=True)
class Table:
    name: str
    title: str
    fields: tuple[Field, ...]
    key: tuple[str, ...]
    refers: dict[str, tuple[str, str]] = field(default_factory=dict)  # field: table, field

    @property
    def path(self) -> str:
        return f"{self.name}.csv"

    @property
    def header(self) -> list[str]:
        return [one.name for one in self.fields]

    def described(self, content: bytes) -> dict[str, Any]:
        return {
            "profile": "tabular-data-resource",
            "name": self.name,
            "title": self.title,
            "path": self.path,
            "format": "csv",
            "mediatype": "text/csv",
            "encoding": "utf-8",
            "bytes": len(content),
            "hash": f"sha256:{hashlib.sha256(content).hexdigest()}",
            "dialect": DIALECT,
            "schema": {
                "fields": [one.described() for one in self.fields],
                "missingValues": [""],
                "primaryKey": list(self.key),
                "foreignKeys": [
                    {"fields": name, "reference": {"resource": table, "fields": its}}
                    for name, (table, its) in self.refers.items()
                ],
            },
        }


DEFINED = Table(
    "definitions",
    "What each measure is",
    (
        Field("key", "string", "key of the definition"),
        Field("name", "string", "what it is called"),
        Field("says", "string", "what exactly is measured, and of which part of the body"),
        Field("unit", "string", "unit of the value and of its u95; empty: a count", needed=False),
        Field("source", "string", "where the definition is from"),
    ),
    ("key",),
)
_NAME = Field("name", "string", "of the swimmer; text that begins like a formula has ' before it")


def swims_table(*, names: bool) -> Table:
    fields = (
        Field("swim", "string", SWIM_KEY),
        Field("number", "integer", "of the swimmer in this clinic", least=0),
        *((_NAME,) if names else ()),
        Field("stroke", "string", "stroke of the entry"),
        Field("start", "string", "how the go begins", one_of=("block", "edge", "water")),
        Field("group", "string", "lane group"),
        Field("go", "integer", "of this swimmer in this clinic, from 1", least=1),
        Field("start_at", "datetime", "instant of the start signal, UTC"),
        Field("start_kind", "string", "how it is known", one_of=("heard", "tap", "mark")),
        Field("start_u95_s", "number", f"{PLUS_MINUS}, of start_at", "s", least=0),
        Field("course_m", "number", "length of the pool", "m"),
        Field("distance_m", "number", "of one go", "m"),
        Field("turn_from_m", "number", "turns are timed from so far before the wall", "m"),
        Field("turn_to_m", "number", "turns are timed to so far after the wall", "m"),
        Field("to_look_at", "integer", "how many things about its marks do not agree", least=0),
    )
    return Table("swims", "One row a swim", fields, ("swim",))


MEASURES = Table(
    "measures",
    "One row a measure",
    (
        Field("swim", "string", SWIM_KEY),
        Field("measure", "integer", "number of the row within the swim", least=1),
        Field("key", "string", "of its definition"),
        Field("number", "integer", "of the length or the wall; 0: of the whole swim", least=0),
        Field("at_m", "number", "distance from the start that it is about", "m", needed=False),
        Field("value", "number", "in the unit of this row"),
        Field("u95", "number", f"{PLUS_MINUS}, in the unit of this row", least=0),
        Field("unit", "string", "of value and u95; empty: a count", needed=False),
        Field(
            "claim",
            "string",
            "what may be said with the value, by the size of its ±",
            one_of=("good", "rough", "too-unsure"),
        ),
    ),
    ("swim", "measure"),
    {"swim": ("swims", "swim"), "key": ("definitions", "key")},
)
MARKS = Table(
    "marks",
    "One row a mark: an event placed on the first frame that shows it",
    (
        Field("swim", "string", SWIM_KEY),
        Field("mark", "integer", "number of the mark within the swim", least=1),
        Field("kind", "string", "which event", one_of=tuple(str(one) for one in Event)),
        Field("view", "string", "station, and recording where it has several"),
        Field(
            "frame_s",
            "number",
            "of the frame, from the start signal, nothing taken off; empty: time not known",
            "s",
            needed=False,
        ),
        Field("interval_s", "number", "from the frame before to this one", "s", needed=False),
        Field("clock_u_s", "number", "standard uncertainty of the view's clock", "s", needed=False),
        Field("distance_m", "number", "swum until then", "m", needed=False),
        Field("distance_u_m", "number", "its standard uncertainty", "m", needed=False),
        Field("x", "number", "in the picture, in parts of its width", needed=False),
        Field("y", "number", "in the picture, in parts of its height", needed=False),
        Field("placed_by", "string", "who placed it: a letter for each person", needed=False),
    ),
    ("swim", "mark"),
    {"swim": ("swims", "swim")},
)


def descriptor(
    name: str, title: str, says: str, created: str, tables: Sequence[tuple[Table, bytes]]
) -> dict[str, Any]:
    """`created`: date and time as RFC 3339 has it."""
    return {
        "profile": "tabular-data-package",
        "name": name,
        "title": title,
        "description": says,
        "created": created,
        "resources": [table.described(content) for table, content in tables],
    }


def in_english(words: Said | str) -> str:
    """A package is read by programs and by people elsewhere: it has one language."""
    return str(words)
