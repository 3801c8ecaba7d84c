"""Taking a name out of words that somebody else wrote."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from typing import Any

from django.db.models import QuerySet

ERASED = "[erased]"


def names(text: str, name: str) -> bool:
    """Does the text have the whole name in it?

    >>> names("Well swum, Tomas Birk!", "Tomas Birk"), names("Tomas Birkin", "Tomas Birk")
    (True, False)
    """
    found = _pattern(name)
    return found is not None and found.search(text) is not None


def without(text: str, name: str) -> str:
    """
    >>> without("As TOMAS  BIRK does.", "Tomas Birk")
    'As [erased] does.'
    """
    found = _pattern(name)
    return found.sub(ERASED, text) if found is not None else text


def without_in(value: Any, name: str) -> Any:
    """The same in a list or mapping of texts."""
    if isinstance(value, str):
        return without(value, name)
    if isinstance(value, list):
        return [without_in(one, name) for one in value]
    if isinstance(value, dict):
        return {key: without_in(one, name) for key, one in value.items()}
    return value


Words = Iterable[tuple[QuerySet[Any], tuple[str, ...]]]


def rows_naming(words: Words, name: str) -> Iterator[tuple[Any, tuple[str, ...]]]:
    """Rows in whose fields of free words the whole name stands. They are read one by one: what a
    database takes for the same letter is not what a reader does."""
    if not name:
        return
    for rows, fields in words:
        for row in rows.iterator():
            if any(names(str(getattr(row, field)), name) for field in fields):
                yield row, fields


def take_out(words: Words, name: str) -> None:
    for row, fields in list(rows_naming(words, name)):
        for field in fields:
            setattr(row, field, without_in(getattr(row, field), name))
        row.save(update_fields=fields)


def _pattern(name: str) -> re.Pattern[str] | None:
    words = [re.escape(word) for word in name.split()]
    if not words:
        return None
    return re.compile(r"(?<!\w)" + r"\s+".join(words) + r"(?!\w)", re.IGNORECASE)
