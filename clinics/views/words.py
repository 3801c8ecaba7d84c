"""What is said in the reader's language in more than one place: what was wrong with something
handed in, and how sure a time is."""

from __future__ import annotations

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from clinics.actions.errors import BadInput
from clinics.compute.errors import Said
from clinics.compute.sureness import HowSure, Sureness


def in_words(bad: BadInput) -> BadInput:
    """The same complaints; what has no pattern (a file's name, a field) stays as it is."""
    return BadInput((said(where), said(sentence)) for where, sentence in bad.errors)


def said(sentence: str) -> str:
    """A sentence that was said in English by what knows no languages, in the reader's."""
    if not isinstance(sentence, Said):
        return str(sentence)
    values = {
        name: said(value) if isinstance(value, Said) else value
        for name, value in sentence.values.items()
    }
    pattern = _(sentence.pattern)
    return pattern % values if values else pattern


def sure_words(sure: HowSure) -> str:
    """How sure a time is, for people who do not want a ±."""
    if sure.kind is Sureness.FRAME:
        return _("within a frame")
    if sure.kind is Sureness.FRAMES:
        count = int(sure.amount)
        told = ngettext("within %(count)d frame", "within %(count)d frames", count)
        return told % {"count": count}
    if sure.kind is Sureness.SECONDS:
        return _("within %(seconds).1f s") % {"seconds": sure.amount}
    return _("needs a look") if sure.kind is Sureness.LOOK else _("time not known")
