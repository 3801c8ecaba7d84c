"""Values of an item, one at a time. Whatever is wrong is noted; the value is then None.

What cannot be shown is taken out of words and what is too long is cut off: a start is not lost
over its note.
"""

from __future__ import annotations

import math
import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field

from clinics.compute.errors import say as _
from clinics.compute.tables import tidy, unprintable

CLIENT_ID = re.compile(r"[A-Za-z0-9-]{8,64}")
RUN = re.compile(r"[A-Za-z0-9._-]{1,60}")
WALL_MOST_MS = 4_102_444_800_000.0  # the year 2100
MONOTONIC_MOST_MS = 1e11  # three years without a restart, as in a clock's code
NUMBER_MOST = 2**31 - 1


@dataclass
class Item:
    """One item of a list, and what was found wrong with it."""

    told: Mapping[str, object]
    errors: list[str] = field(default_factory=list)

    def client_id(self) -> str:
        value = self.told.get("client_id")
        if isinstance(value, str) and CLIENT_ID.fullmatch(value):
            return value
        self.errors.append(_("its id is not 8 to 64 letters, digits or hyphens."))
        return ""

    def run(self, name: str) -> str:
        value = self.told.get(name)
        if isinstance(value, str) and RUN.fullmatch(value):
            return value
        self.errors.append(_("the run of the phone's clock has no good name."))
        return ""

    def ms(self, name: str, *, most: float) -> float:
        """From 0 to `most`; 0 if it is not."""
        value = self.maybe_ms(name, most=most)
        if value is None and self.told.get(name) is None:
            self.errors.append(_("“%(name)s” is missing.", name=name))
        return value or 0.0

    def maybe_ms(self, name: str, *, most: float) -> float | None:
        value = self.told.get(name)
        if value is None:
            return None
        number = value if isinstance(value, int | float) else math.nan
        # compared before it becomes a float: a whole number may be too large for one
        if not isinstance(value, bool) and 0 <= number <= most:
            return float(number)
        self.errors.append(_("“%(name)s” is no time of a clock.", name=name))
        return None

    def number(self) -> int | None:
        value = self.told.get("number")
        if value is None:
            return None
        if isinstance(value, int) and not isinstance(value, bool) and 0 < value <= NUMBER_MOST:
            return value
        self.errors.append(_("the swimmer's number is no number."))
        return None

    def yes_or_no(self, name: str) -> bool | None:
        value = self.told.get(name)
        if value is None or isinstance(value, bool):
            return value
        self.errors.append(_("“%(name)s” is neither yes nor no.", name=name))
        return None

    def one_of(self, name: str, choices: Collection[str]) -> str:
        value = self.told.get(name)
        if isinstance(value, str) and value in choices:
            return value
        known = ", ".join(choices)
        self.errors.append(_("“%(name)s” is none of: %(known)s.", name=name, known=known))
        return ""

    def words(self, name: str, *, most: int) -> str:
        return shown(self.told.get(name), most=most)


def shown(value: object, *, most: int) -> str:
    """One line of words as they are kept.

    >>> shown(" late\\n\\x00 start ", most=9)
    'late star'
    """
    if not isinstance(value, str):
        return ""
    printable = "".join(" " if unprintable(char) else char for char in value[: 4 * most])
    return tidy(printable)[:most].strip()
