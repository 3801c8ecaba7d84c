"""The words of a consent text: its places for names, what stands in them, its hash.

A text is plain: paragraphs parted by an empty line. Its first line is the sentence that a
swimmer agrees to; it stands beside the box. `{club}` and the like are filled with the names of
the clinic that the swimmer is asked for.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping

PLACES = ("club", "controller", "checker", "team")
# The base consent names all of them: who answers, who looks first, who comes from outside.
NEEDED = {"film-and-review": ("controller", "checker", "team")}
NEEDED_ALWAYS = ("controller",)
_PLACE = re.compile(r"\{([^{}]*)\}")


def unknown_places(text: str) -> list[str]:
    """
    >>> unknown_places("I agree, says {name} of {club}.")
    ['name']
    """
    return sorted({name for name in _PLACE.findall(text) if name not in PLACES})


def missing_places(text: str, purpose: str) -> list[str]:
    """
    >>> missing_places("{controller} answers for it.", "film-and-review")
    ['checker', 'team']
    """
    there = set(_PLACE.findall(text))
    return [name for name in NEEDED.get(purpose, NEEDED_ALWAYS) if name not in there]


def filled(text: str, names: Mapping[str, str]) -> str:
    """The text with names in their places. A name is never read as a place again.

    >>> filled("{club} films.", {"club": "The {team} club"})
    'The {team} club films.'
    """
    return _PLACE.sub(lambda place: names.get(place[1], place[0]), text)


def sentence(text: str) -> str:
    """The first line: what stands beside the box."""
    return text.strip().split("\n", 1)[0].strip()


def explained(text: str) -> list[str]:
    """The paragraphs below the first line."""
    rest = text.strip().split("\n", 1)[1:]
    return [part.strip() for part in "".join(rest).split("\n\n") if part.strip()]


def tidy(text: str) -> str:
    """One kind of line end, none at the close: what is hashed and compared."""
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    return re.sub(r"\n{3,}", "\n\n", "\n".join(line.rstrip() for line in lines)).strip()


def text_hash(text: str) -> str:
    """SHA-256 in hex of the published words, in UTF-8."""
    return hashlib.sha256(text.encode()).hexdigest()
