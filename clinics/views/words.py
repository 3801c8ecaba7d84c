"""What was wrong with something handed in, said in the reader's language."""

from __future__ import annotations

from django.utils.translation import gettext

from clinics.actions.errors import BadInput
from clinics.compute.errors import Said


def in_words(bad: BadInput) -> BadInput:
    """The same complaints; what has no pattern (a file's name, a field) stays as it is."""
    return BadInput((_in_words(where), _in_words(sentence)) for where, sentence in bad.errors)


def _in_words(sentence: str) -> str:
    if not isinstance(sentence, Said):
        return str(sentence)
    values = {
        name: _in_words(value) if isinstance(value, Said) else value
        for name, value in sentence.values.items()
    }
    pattern = gettext(sentence.pattern)
    return pattern % values if values else pattern
