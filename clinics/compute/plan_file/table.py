"""A TOML table that is read field by field; what is wrong is collected, not raised."""

from __future__ import annotations

import contextlib
import datetime as dt
import re
from collections.abc import Callable, Iterable
from typing import Any

from clinics.compute.errors import say as _
from clinics.compute.tables import tidy, unprintable

Errors = list[tuple[str, str]]


class Table:
    def __init__(self, content: Any, where: str, errors: Errors) -> None:
        self.where, self.errors = where, errors
        self.content: dict[str, Any] = content if isinstance(content, dict) else {}
        self.read: set[str] = set()
        if not isinstance(content, dict):
            errors.append((where, _("must be a table with fields.")))

    def complain(self, key: str, sentence: str) -> None:
        self.errors.append((f"{self.where}.{key}" if self.where else key, sentence))

    def get(self, key: str, *, needed: bool = True) -> Any:
        self.read.add(key)
        if key not in self.content and needed:
            self.complain(key, _("is missing."))
        return self.content.get(key)

    def says(self, key: str) -> bool:
        self.read.add(key)
        return key in self.content

    def said(self, **readers: Callable[[str], object]) -> dict[str, object]:
        """Of these fields the ones that stand in the table, each read by its reader."""
        return {key: read(key) for key, read in readers.items() if self.says(key)}

    def text(self, key: str, *, limit: int = 120, default: str | None = None) -> str:
        value = self.get(key, needed=default is None)
        if value is None:
            return default or ""
        if not isinstance(value, str) or not tidy(value):
            self.complain(key, _("must be some text in quotes."))
            return ""
        if len(value) > limit or unprintable(value):
            self.complain(
                key, _("must be at most %(limit)s characters that can be shown.", limit=limit)
            )
        return tidy(value)

    def slug(self, key: str) -> str:
        value = self.text(key, limit=50)
        if value and not re.fullmatch(r"[a-z0-9]+(?:-[a-z0-9]+)*", value):
            self.complain(
                key, _("“%(value)s” must be small letters, digits and single hyphens.", value=value)
            )
        return value

    def number(self, key: str, low: float, high: float, default: float | None = None) -> float:
        value = self.get(key, needed=default is None)
        if value is None:
            return low if default is None else default
        said = {"low": f"{low:g}", "high": f"{high:g}"}
        if isinstance(value, bool) or not isinstance(value, int | float):
            self.complain(
                key, _("must be a number from %(low)s to %(high)s, without quotes.", **said)
            )
            return low
        if not low <= value <= high:
            told = _("%(value)s is outside %(low)s to %(high)s.", value=f"{value:g}", **said)
            self.complain(key, told)
        return float(value)

    def whole(self, key: str, low: int, high: int) -> int:
        value = self.number(key, low, high)
        if value != int(value):
            self.complain(key, _("must be a whole number."))
        return int(value)

    def flag(self, key: str, default: bool) -> bool:
        value = self.get(key, needed=False)
        if value is not None and not isinstance(value, bool):
            self.complain(key, _("must be true or false."))
        return default if value is None else bool(value)

    def choice(self, key: str, choices: Iterable[str], default: str | None = None) -> str:
        value = self.get(key, needed=default is None)
        if value is None:
            return default or ""
        if value not in choices:
            known = ", ".join(choices)
            told = _("“%(value)s” is not known. Write one of: %(known)s.", value=value, known=known)
            self.complain(key, told)
        return str(value)

    def day(self, key: str, *, needed: bool = True) -> dt.date | None:
        value = self.get(key, needed=needed)
        if isinstance(value, str):
            with contextlib.suppress(ValueError):
                value = dt.date.fromisoformat(value)
        if isinstance(value, dt.datetime) or not isinstance(value, dt.date):
            if value is not None:
                self.complain(key, _("“%(value)s” must be a day as 2026-11-14.", value=value))
            return None
        return value

    def clock(self, key: str) -> dt.time | None:
        """A time of day, written as TOML writes it (10:00:00) or in quotes ("10:00")."""
        value = self.get(key)
        if isinstance(value, str):
            with contextlib.suppress(ValueError):
                value = dt.time.fromisoformat(value)
        if not isinstance(value, dt.time) or value.tzinfo is not None:
            if value is not None:
                told = _("“%(value)s” must be a time of day as 10:30:00.", value=value)
                self.complain(key, told)
            return None
        return value

    def rows(self, key: str) -> list[Any]:
        value = self.get(key, needed=False)
        if value is not None and not isinstance(value, list):
            self.complain(key, _("must be a list: write [[%(key)s]] above each.", key=key))
            return []
        return value or []

    def nothing_else(self) -> None:
        for key in self.content.keys() - self.read:
            known = ", ".join(sorted(self.read))
            self.complain(key, _("is not known here. Known: %(known)s.", known=known))


def no_twice(errors: Errors, where: str, key: str, values: list[Any]) -> None:
    for value in {value for value in values if values.count(value) > 1}:
        told = _("“%(value)s” stands there twice.", value=value)
        errors.append((f"{where}.{key}", told))
