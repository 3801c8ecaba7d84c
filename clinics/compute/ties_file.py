"""Reads a file of ties, so that clocks can be fitted without a browser.

{"format": "sidelane-ties/1",
 "recordings": [{"station": "deck", "files": ["MOV_0031.mov"],
   "ties": [{"kind": "start-seen", "swimmer": 11, "media_s": 42.04, "u_ms": 12},
            {"kind": "instant", "instant": "2026-11-14T10:31:00Z", "ticks": 5400000}]}]}

`kind` is start-seen, start-heard (both with `swimmer`, and `go` if not the first) or instant
(with `instant`, ISO 8601 with an offset). The frame is the first at or after the event, named by
`frame` (its number from 0), `ticks` (1/90000 s) or `media_s`. `u_ms` may be left out. A
recording is known by its station and the name of one of its files; other fields are ignored.
"""

from __future__ import annotations

import datetime as dt
import json
from dataclasses import dataclass
from typing import Any

from clinics.compute.clockfit import INSTANT, START_HEARD, START_SEEN
from clinics.compute.errors import BadInput
from clinics.compute.time import media_s_to_ticks

FORMAT = "sidelane-ties/1"
KINDS = (START_SEEN, START_HEARD, INSTANT)


@dataclass(frozen=True)
class TieRow:
    """One tie; exactly one of `frame` and `ticks` is set."""

    where: str
    station: str
    files: tuple[str, ...]
    kind: str
    swimmer: int | None
    go: int
    instant: dt.datetime | None
    frame: int | None
    ticks: int | None
    u_ms: float | None


def parse_ties(text: str, *, source: str = "ties") -> list[TieRow]:
    """All ties, or BadInput that names every bad one."""
    try:
        content = json.loads(text)
    except ValueError as problem:
        raise BadInput([(source, f"cannot be read as JSON: {problem}.")]) from None
    if not isinstance(content, dict) or content.get("format") != FORMAT:
        raise BadInput([(source, f"“format” must be “{FORMAT}”.")])
    errors: list[tuple[str, str]] = []
    rows = [
        _row(recording, tie, f"{source}, recording {n}, tie {m}", errors)
        for n, recording in enumerate(_dicts(content, "recordings", source, errors), start=1)
        for m, tie in enumerate(
            _dicts(recording, "ties", f"{source}, recording {n}", errors), start=1
        )
    ]
    if errors:
        raise BadInput(errors)
    return [row for row in rows if row is not None]


def _dicts(
    holder: dict[str, Any], key: str, where: str, errors: list[tuple[str, str]]
) -> list[dict[str, Any]]:
    rows = holder.get(key)
    if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
        errors.append((where, f"“{key}” must be a list of objects."))
        return []
    return rows


def _row(
    recording: dict[str, Any], tie: dict[str, Any], where: str, errors: list[tuple[str, str]]
) -> TieRow | None:
    before = len(errors)
    kind = tie.get("kind")
    if kind not in KINDS:
        errors.append((where, f"“kind” must be one of {', '.join(KINDS)}."))
    files = recording.get("files")
    if not isinstance(files, list) or not all(isinstance(name, str) for name in files):
        errors.append((where, "“files” must name the recording's files."))
        files = []
    instant = _instant(tie, where, errors) if kind == INSTANT else None
    if kind != INSTANT and not _whole(tie.get("swimmer")):
        errors.append((where, "“swimmer” must be a number of the running order."))
    frame, ticks = _place(tie, where, errors)
    u_ms = tie.get("u_ms")
    if u_ms is not None and not (_number(u_ms) and 0 < u_ms <= 60_000):
        errors.append((where, "“u_ms” must be a number above 0."))
    if len(errors) > before:
        return None
    return TieRow(
        where=where,
        station=str(recording.get("station", "")),
        files=tuple(files),
        kind=str(kind),
        swimmer=None if kind == INSTANT else tie["swimmer"],
        go=tie["go"] if _whole(tie.get("go")) else 1,
        instant=instant,
        frame=frame,
        ticks=ticks,
        u_ms=u_ms,
    )


def _instant(tie: dict[str, Any], where: str, errors: list[tuple[str, str]]) -> dt.datetime | None:
    try:
        instant = dt.datetime.fromisoformat(str(tie.get("instant")))
    except ValueError:
        instant = None
    if instant is None or instant.tzinfo is None:
        errors.append((where, "“instant” must be ISO 8601 with its offset from UTC."))
    return instant


def _place(
    tie: dict[str, Any], where: str, errors: list[tuple[str, str]]
) -> tuple[int | None, int | None]:
    if _whole(tie.get("ticks")):
        return None, tie["ticks"]
    if _number(tie.get("media_s")) and tie["media_s"] >= 0:
        return None, media_s_to_ticks(tie["media_s"])
    if _whole(tie.get("frame")):
        return tie["frame"], None
    errors.append((where, "give the frame by “ticks”, “media_s” or “frame”."))
    return None, None


def _number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _whole(value: Any) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and value >= 0
