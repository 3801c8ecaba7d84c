"""What later packages keep about a swim, which must not go when somebody says it was none."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from clinics.models import Swim

_asked: dict[str, Callable[[Swim], bool]] = {}


def ask_before_removing(name: str, any_of: Callable[[Swim], bool]) -> None:
    """Register at start-up: `any_of(swim)` says whether a person said something of the swim."""
    _asked[name] = any_of


def somebody_spoke(swim: Swim) -> bool:
    return any(any_of(swim) for any_of in _asked.values())
