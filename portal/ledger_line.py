"""One line of the deletion ledger; apart, so that the registry can name it."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass


@dataclass(frozen=True)
class Line:
    """One deletion or withdrawal; `purpose` only of a withdrawal, `sha256` only of a file, `by`
    (a person's id) only where a row that is made again needs one."""

    at: str
    what: str
    kind: str
    id: str
    sha256: str = ""
    purpose: str = ""
    by: str = ""

    @property
    def when(self) -> dt.datetime:
        return dt.datetime.fromisoformat(self.at)
