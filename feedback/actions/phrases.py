"""Words that a coach keeps to use again. Each coach has their own; nobody else reads them."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from django.db import IntegrityError, transaction
from django.db.models import F

from feedback.models import Phrase
from portal.actions.audit import record

if TYPE_CHECKING:
    from portal.models import User


class KeptAlready(Exception):
    """The coach has these words already."""


@transaction.atomic
def keep_phrase(*, by: User, text: str, phase: str = "") -> Phrase:
    """Words that the coach has already stand once, with the phase that they had."""
    phrase, new = Phrase.objects.get_or_create(coach=by, text=text, defaults={"phase": phase})
    if new:
        record(action="phrase-kept", by=by, subject=phrase)
    return phrase


@transaction.atomic
def change_phrase(*, phrase: Phrase, by: User, text: str, phase: str) -> Phrase:
    """Raises KeptAlready."""
    if (phrase.text, phrase.phase) == (text, phase):
        return phrase
    phrase.text, phrase.phase = text, phase
    try:
        with transaction.atomic():
            phrase.save(update_fields=["text", "phase"])
    except IntegrityError:
        raise KeptAlready from None
    record(action="phrase-changed", by=by, subject=phrase)
    return phrase


@transaction.atomic
def remove_phrase(*, phrase: Phrase, by: User) -> None:
    """Done twice it is noted once. What was said with it stays."""
    _, gone = Phrase.objects.filter(pk=phrase.pk).delete()
    if gone:
        record(action="phrase-removed", by=by, subject=phrase)


def count_use(*, by: User, phrases: Iterable[Any]) -> None:
    """The coach said these (their ids); those used most stand first. No audit entry: what was
    said has its own."""
    Phrase.objects.filter(coach=by, pk__in=list(phrases)).update(used_count=F("used_count") + 1)
