"""The rows that an act touches: written down as they are, compared, and put back.

A state maps "kind:id" to the row's values by field (all of them, as JSON can hold), or to None
for a row that is not there. Ids and times only; no names.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterable, Mapping
from typing import Any

from django.db import models

from clinics.models import Clip, ClipMask, Recognised, Swim, Tie

Values = dict[str, Any]
State = dict[str, Values | None]

MODELS: dict[str, type[models.Model]] = {
    "swim": Swim,
    "recognised": Recognised,
    "clip": Clip,
    "mask": ClipMask,
    "tie": Tie,
}
PERSON = ("person", "person_by_id", "person_at", "number_seen")
OTHERS = ("others_recorded_at", "others_recorded_by_id")
PASSED = ("passed_at", "passed_by_id", "given_at", "given_by_id")
WHOSE = ("entry_id", "go")
SPAN = ("recording_id", "first_frame", "frame_count", "in_ticks", "out_ticks")
MISSING = ("missing_before_s", "missing_after_s", "missing_by")
PLACED = (*SPAN, *MISSING, "seen_from_s", "seen_to_s", "window_by", "seen_by")


def key_of(row: models.Model) -> str:
    kind = next(name for name, model in MODELS.items() if type(row) is model)
    return f"{kind}:{row.pk}"


def read(keys: Iterable[str]) -> State:
    """The rows as they are now."""
    by_kind: dict[str, list[str]] = {}
    for key in keys:
        kind, pk = key.split(":")
        by_kind.setdefault(kind, []).append(pk)
    found: State = {}
    for kind, pks in by_kind.items():
        rows = {str(row.pk): row for row in MODELS[kind]._default_manager.filter(pk__in=pks)}
        for pk in pks:
            found[f"{kind}:{pk}"] = _values(rows[pk]) if pk in rows else None
    return found


def rows_of(*groups: Iterable[models.Model]) -> list[str]:
    return [key_of(row) for group in groups for row in group]


def _values(row: models.Model) -> Values:
    return {f.attname: _plain(getattr(row, f.attname)) for f in row._meta.concrete_fields}


def _plain(value: Any) -> Any:
    """To the microsecond, which Django's own JSON encoder would cut to milliseconds."""
    if isinstance(value, dt.datetime):
        return value.astimezone(dt.UTC).isoformat()
    return str(value) if isinstance(value, uuid.UUID) else value


def from_plain(model: type[models.Model], values: Mapping[str, Any]) -> Values:
    fields = {f.attname: f for f in model._meta.concrete_fields}
    return {name: fields[name].to_python(value) for name, value in values.items() if name in fields}


def differing(then: State, now: State, names: Iterable[str]) -> dict[str, set[str]]:
    """Which of these fields differ, by row; a row that came or went differs in "row"."""
    names = tuple(names)
    found: dict[str, set[str]] = {}
    for key, was in then.items():
        is_now = now.get(key)
        if was is None or is_now is None:
            changed = {"row"} if was is not is_now else set()
        else:
            both = (name for name in names if name in was and name in is_now)
            changed = {name for name in both if was[name] != is_now[name]}
        if changed:
            found[key] = changed
    return found


def put_back(before: State, names: Iterable[str]) -> None:
    """Rows that are there get these fields back; rows that went are made again as they were.
    Rows that came since are the caller's to take away: what hangs on them differs."""
    now = read(before)
    names = tuple(names)
    _free_gos([key for key in before if key.startswith("swim:") and now[key]], names)
    for kind, model in MODELS.items():  # in this order: what others point to comes first
        for key, values in before.items():
            if not key.startswith(f"{kind}:") or values is None:
                continue
            if now[key] is None:
                model(**from_plain(model, values)).save(force_insert=True)
                continue
            fields = from_plain(model, {n: values[n] for n in names if n in values})
            if fields:
                model._default_manager.filter(pk=key.split(":")[1]).update(**fields)


FREE_GO = 20_000  # higher than anybody goes


def _free_gos(keys: list[str], names: tuple[str, ...]) -> None:
    """Each swim steps aside first, since two may not be the same go of an entry for a moment."""
    if "go" in names:
        for number, key in enumerate(keys):
            Swim.objects.filter(pk=key.split(":")[1]).update(go=FREE_GO + number)
