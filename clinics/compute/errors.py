"""What is wrong with something that was handed in, for the person who handed it in."""

from __future__ import annotations

from collections.abc import Iterable


class Said(str):
    """A sentence in English that remembers its pattern and what was filled in, so that a page
    can say it in the reader's language (clinics/views/words.py); nothing here knows languages.

    Modules name `say` as `_`: that is the name by which makemessages finds the patterns.
    """

    pattern: str
    values: dict[str, object]


def say(pattern: str, **values: object) -> Said:
    sentence = Said(pattern % values if values else pattern)
    sentence.pattern, sentence.values = pattern, values
    return sentence


class BadInput(Exception):
    """Everything that is wrong, at once: pairs of where (file, row, field) and a sentence
    that says what is wrong and what to do. Nothing was taken in."""

    def __init__(self, errors: Iterable[tuple[str, str]]) -> None:
        self.errors = list(errors)
        super().__init__("\n".join(self.lines()))

    def lines(self) -> list[str]:
        return [f"{where}: {sentence}" if where else sentence for where, sentence in self.errors]
