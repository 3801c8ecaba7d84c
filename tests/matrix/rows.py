"""A row of the matrix: who may use a URL, verb by verb, and who is asked."""

from __future__ import annotations

import re
from dataclasses import dataclass

SIGNED_IN = "SWXCKRAcas"
ANYONE = SIGNED_IN + "-"
WORK_HERE = "CKRA"
WORK = WORK_HERE + "ca"
RARE = ("PUT", "PATCH", "DELETE", "OPTIONS")
STRANGERS_ON_HEAD, STRANGERS_ON_RARE = "WXc-", "X-"  # these of the strangers ask so, for time
FILES = re.compile("file|film|strip|frame|card|captions|csv|pdf|json|receipt|sheet")
"""URLs that serve files: there everybody asks for a byte range, too; elsewhere it is rare."""


@dataclass(frozen=True)
class Row:
    """Who may use a URL, verb by verb; `of` names the thing in `Things` it is about."""

    of: str = ""
    get: str = ""
    post: str = ""
    head: str | None = None
    patch: str = ""
    delete: str = ""

    def may(self, verb: str) -> str:
        told = {"POST": self.post, "PATCH": self.patch, "DELETE": self.delete, "GET": self.get}
        if verb == "HEAD":
            return self.get if self.head is None else self.head
        return self.get if verb == "RANGE" else told.get(verb, "")

    def knows(self) -> set[str]:
        """Who may do anything at all with it, and so knows that it exists."""
        return set(self.get + self.post + (self.head or "") + self.patch + self.delete)


def verbs_of(row: Row, letter: str, name: str) -> list[str]:
    """GET and POST of everybody; HEAD and a byte range of all who may do something here and four
    strangers; what most URLs refuse, of one of those and two strangers."""
    knows = row.knows()
    on_head = letter in knows or letter in STRANGERS_ON_HEAD
    verbs = ["GET", "POST"]
    if on_head or FILES.search(name.split("#")[0]):
        verbs.append("RANGE")
    if on_head:
        verbs.append("HEAD")
    if row.patch or row.delete:
        rare = on_head
    else:
        rare = letter in STRANGERS_ON_RARE or letter == min(knows, default="")
    return [*verbs, *RARE] if rare else verbs
