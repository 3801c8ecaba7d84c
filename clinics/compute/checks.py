"""Checks of what was given, gathered by the name of the field, so that all that is wrong is told
at once: each adds to `errors` what is wrong and what would be right."""

from __future__ import annotations

from collections.abc import Hashable, Iterable

from clinics.compute.errors import BadInput
from clinics.compute.errors import say as _

Errors = list[tuple[str, str]]


def within(value: float, low: float, high: float, where: str, errors: Errors) -> None:
    if not low <= value <= high:
        said = {"value": f"{value:g}", "low": f"{low:g}", "high": f"{high:g}"}
        errors.append((where, _("%(value)s is outside %(low)s to %(high)s.", **said)))


def once(where: str, keys: Iterable[Hashable], errors: Errors) -> None:
    seen: set[Hashable] = set()
    for key in keys:
        if key in seen:
            errors.append((where, _("“%(value)s” stands there twice.", value=str(key))))
        seen.add(key)


def known(where: str, keys: Iterable[Hashable], among: Iterable[Hashable], errors: Errors) -> None:
    among = list(among)
    for key in keys:
        if key not in among:
            names = ", ".join(str(one) for one in among)
            told = _("is not known here. Known: %(known)s.", known=names)
            errors.append((f"{where} {key}", told))


def raise_if_any(errors: Errors) -> None:
    if errors:
        raise BadInput(errors)
