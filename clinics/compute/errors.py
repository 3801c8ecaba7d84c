"""What is wrong with something that was handed in, for the person who handed it in."""

from __future__ import annotations

from collections.abc import Iterable


class BadInput(Exception):
    """Everything that is wrong, at once: pairs of where (file, row, field) and a sentence
    that says what is wrong and what to do. Nothing was taken in."""

    def __init__(self, errors: Iterable[tuple[str, str]]) -> None:
        self.errors = list(errors)
        super().__init__("\n".join(self.lines()))

    def lines(self) -> list[str]:
        return [f"{where}: {sentence}" if where else sentence for where, sentence in self.errors]
