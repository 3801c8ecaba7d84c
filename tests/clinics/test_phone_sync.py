"""What a phone sends, read: nothing that a browser or a stranger can put there breaks it."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clinics.compute.errors import BadInput
from clinics.compute.phone_sync import Body, TooMuch, read_body
from clinics.compute.phone_sync.fields import shown

PHONE = {"key": "phone-of-liv", "name": "Liv", "unsent": 3}
LINE = {
    "client_id": "line-0001",
    "number": 21,
    "outcome": "away",
    "note": "",
    "run": "run-1",
    "monotonic_ms": 1000.5,
    "wall_ms": 1_794_652_350_250,
    "consent_shown": True,
    "consent_known_ms": None,
}
EXCHANGE = {
    "run": "run-1",
    "sent_ms": 1000,
    "server_ms": 1_794_652_350_260,
    "answered_ms": 1_794_652_350_261,
    "came_ms": 1021,
    "wall_ms": 1_794_652_350_250,
}
LISTS = ("exchanges", "scans", "lines", "undone", "wishes", "station_words")


def read(**lists: Any) -> Body:
    return read_body(json.dumps({"phone": PHONE, **lists}))


def test_a_whole_line_is_read_as_it_was_said() -> None:
    (line,) = read(lines=[LINE | {"note": " a\tnote "}]).lines
    assert (line.client_id, line.number, line.outcome, line.note) == (
        "line-0001",
        21,
        "away",
        "a note",
    )
    assert (line.monotonic_ms, line.wall_ms, line.noted_ms) == (
        1000.5,
        1.79465235025e12,
    ) + (1.79465235025e12,)


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("client_id", "<script>"),
        ("client_id", "short"),
        ("client_id", None),
        ("number", 0),
        ("number", 2**40),
        ("number", True),
        ("number", 21.0),
        ("outcome", ["away"]),
        ("run", "r" * 61),
        ("monotonic_ms", "1000"),
        ("monotonic_ms", -0.5),
        ("monotonic_ms", 1e12),
        ("monotonic_ms", 10**400),
        ("wall_ms", None),
        ("wall_ms", 5e12),
        ("wall_ms", False),
        ("consent_shown", "yes"),
        ("consent_known_ms", -1),
        ("noted_ms", "now"),
    ],
)
def test_a_line_that_cannot_be_is_refused_by_itself(name: str, value: object) -> None:
    good = LINE | {"client_id": "line-0002"}
    body = read(lines=[LINE | {name: value}, good])
    assert [line.client_id for line in body.lines] == ["line-0002"]
    (refused,) = body.refused
    assert refused.kind == "line" and len(refused.errors) == 1


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("came_ms", 999),  # an answer before the question
        ("answered_ms", 1_794_652_350_259),
        ("answered_ms", 1_794_652_350_290),  # the server took longer than the way there and back
        ("server_ms", None),
        ("run", ""),
    ],
)
def test_an_exchange_that_cannot_be_is_passed_over(name: str, value: object) -> None:
    body = read(exchanges=[EXCHANGE, EXCHANGE | {name: value}, "x"])
    assert (len(body.exchanges), body.passed_over, body.refused) == (1, 2, ())


def test_numbers_beyond_a_float_are_refused_and_no_error() -> None:
    text = json.dumps({"phone": PHONE, "lines": [LINE]}).replace("1000.5", "1e999")
    assert len(read_body(text).refused) == 1
    with pytest.raises(BadInput):
        read_body(text.replace("1e999", "Infinity"))


def test_at_most_two_thousand_of_a_list() -> None:
    assert len(read(undone=["line-0001"] * 2000).undone) == 2000
    with pytest.raises(TooMuch):
        read(scans=[{}] * 2001)


def test_words_are_kept_as_one_line_that_every_database_takes() -> None:
    """PostgreSQL takes neither NUL nor half a surrogate pair."""
    assert shown("a\x00b\ud83d c\u202e", most=60) == "a b c"
    assert shown("x" * 900, most=400) == "x" * 400
    assert shown(["no text"], most=9) == ""


TEXT = st.text(st.sampled_from("aZ09-._<\x00\ud83d\u202e é"), max_size=70)
PLAIN = st.none() | st.booleans() | st.integers() | TEXT
PLAIN |= st.floats(allow_nan=False, allow_infinity=False)
ANY = PLAIN | st.lists(PLAIN, max_size=2) | st.dictionaries(TEXT, PLAIN, max_size=2)
FIELDS = st.sampled_from([*LINE, *EXCHANGE, "kind", "gone", "from_ms", "station", "state"])


@given(st.dictionaries(st.sampled_from([*LISTS, "phone"]), ANY | st.lists(ANY, max_size=3)))
def test_any_json_is_read_or_refused(told: dict[str, object]) -> None:
    try:
        read_body(json.dumps({"phone": PHONE} | told))
    except BadInput as bad:
        assert bad.lines()


@given(st.sampled_from(LISTS), st.dictionaries(FIELDS, ANY, max_size=4))
def test_an_item_with_anything_in_it_is_kept_refused_or_passed_over(
    name: str, fields: dict[str, object]
) -> None:
    body = read(**{name: [LINE | EXCHANGE | fields]})
    taken = [*body.exchanges, *body.scans, *body.lines, *body.undone, *body.wishes]
    assert len(taken) + len(body.station_words) + len(body.refused) + body.passed_over == 1
