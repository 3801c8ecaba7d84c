"""The ties file: the example in deploy/ is whole, and what is wrong is named."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from django.conf import settings

from clinics.compute.errors import BadInput
from clinics.compute.ties_file import parse_ties

EXAMPLE = Path(settings.BASE_DIR) / "deploy" / "example-plan" / "ties.json"


def test_the_example_is_read_whole() -> None:
    rows = parse_ties(EXAMPLE.read_text())
    assert [(row.kind, row.swimmer) for row in rows] == [
        ("start-heard", 1),
        ("start-heard", 13),
        ("instant", None),
    ]
    assert rows[0].ticks == 133.52 * 90_000  # media_s in ticks of 1/90000 s
    assert (rows[1].frame, rows[1].u_ms) == (50312, 12)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"kind": "start-smelt"}, "tie 1"),
        ({"swimmer": "Tomas"}, "tie 1"),
        ({"media_s": None}, "tie 1"),
        ({"media_s": -3}, "tie 1"),
    ],
)
def test_a_bad_tie_is_named(change: dict[str, object], said: str) -> None:
    content = json.loads(EXAMPLE.read_text())
    content["recordings"][0]["ties"][0] |= change
    with pytest.raises(BadInput) as refused:
        parse_ties(json.dumps(content), source="ties.json")
    assert all(where.startswith("ties.json, recording 1") for where, _told in refused.value.errors)
    assert said in refused.value.errors[0][0]
