"""What a swimmer answers, in whatever way it comes: account, personal link, paper, pool.

Each purpose is its own choice. A “no” where there was a “yes” is a withdrawal. What
comes late (a sheet, a phone that had no network) never undoes what was said after it.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, replace

from django.db import transaction
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _

from clinics.actions.consent import (
    ConsentRefused,
    How,
    end_in_force,
    in_force,
    is_of,
    locked,
    put_in_force,
    still_says,
    write_answer,
)
from clinics.actions.consent_names import names_for, next_clinic
from clinics.actions.consent_texts import Texts, texts_of
from clinics.models import Clinic, Consent, ConsentText, Swimmer
from portal.actions.audit import record


@dataclass(frozen=True)
class Answers:
    """Yes or no for each purpose that was answered, in the language that was read.

    `adult`: the swimmer says to be 18 or older. `versions`: which version of each text was
    shown, where that may be an earlier one than today's; empty: today's.
    """

    choices: Mapping[str, bool]
    language: str
    adult: bool = False
    versions: Mapping[str, int] | None = None


@transaction.atomic
def take_answers(
    *, swimmer: Swimmer, answers: Answers, how: How, clinic: Clinic | None = None
) -> list[Consent]:
    """Put the answers in force; which rows they are. Raises ConsentRefused and changes nothing.
    `how.names`: who stood in the texts when they were read, if that was not now.

    The same answer once more changes nothing, and neither does the same `client_id`.
    """
    swimmer = locked(swimmer)
    _note_adult(swimmer, answers, how)
    clinic = clinic or next_clinic(swimmer)
    names = how.names or names_for(swimmer.club, clinic)
    texts = texts_of(swimmer.club)
    how = replace(how, names=names, clinic=clinic)
    taken = []
    for purpose, agrees in answers.choices.items():
        of_purpose = replace(how, text=_text(texts, swimmer, purpose, answers))
        taken.append(_take(swimmer, purpose, agrees, of_purpose))
    return taken


def _note_adult(swimmer: Swimmer, answers: Answers, how: How) -> None:
    """Without it nobody is filmed. Saying no needs none."""
    if swimmer.adult_attested_at is not None or not any(answers.choices.values()):
        return
    if not answers.adult:
        raise ConsentRefused(
            _("Say first that you are 18 or older. Nobody younger is filmed at a clinic.")
        )
    swimmer.adult_attested_at = how.at or timezone.now()
    swimmer.save(update_fields=["adult_attested_at"])
    record(action="swimmer.adult", by=how.by, subject=swimmer, club=swimmer.club)


def _text(texts: Texts, swimmer: Swimmer, purpose: str, answers: Answers) -> ConsentText:
    """What was before the swimmer: today's text, or the earlier one that a phone had."""
    text = texts.get(purpose, answers.language)
    if text is None:
        raise ConsentRefused(_("The club has published no text for this."))
    shown = (answers.versions or {}).get(purpose, text.version)
    if shown == text.version:
        return text
    rows = swimmer.club.consent_texts.filter(purpose=purpose, version=shown)
    earlier = rows.filter(language=text.language).first()
    if earlier is None:
        raise ConsentRefused(_("There is no such version of the text."))
    return earlier


def _take(swimmer: Swimmer, purpose: str, agrees: bool, how: How) -> Consent:
    known = _sent_before(swimmer, purpose, how)
    if known is not None:
        return known
    at = how.at or timezone.now()
    later = _said_later(swimmer, purpose, at)
    choice = Consent.Choice.AGREES if agrees else Consent.Choice.REFUSES
    if later is not None:  # history only: what was said after it stands
        ended = later if agrees else at
        return write_answer(swimmer, purpose, how, choice=choice, at=at, ended_at=ended)
    current = in_force(swimmer, purpose)
    if not agrees:
        if current is not None:
            end_in_force(current, swimmer=swimmer, by=how.by, at=at)
        elif (known := _said_no_before(swimmer, purpose, how)) is not None:
            return known
        return write_answer(swimmer, purpose, how, choice=choice, at=at, ended_at=at)
    assert how.text is not None  # `_text` found it
    if current is not None and not how.sheet and still_says(current, how.text, how.names):
        return current
    return put_in_force(swimmer=swimmer, purpose=purpose, how=how)


def _sent_before(swimmer: Swimmer, purpose: str, how: How) -> Consent | None:
    if not how.client_id:
        return None
    return swimmer.consents.filter(purpose=purpose, client_id=how.client_id).first()


def _said_no_before(swimmer: Swimmer, purpose: str, how: How) -> Consent | None:
    """The last answer, where it was a no to this very version."""
    last = swimmer.consents.filter(purpose=purpose).order_by("-given_at").first()
    if last is None or last.choice == Consent.Choice.AGREES or how.sheet or how.text is None:
        return None
    return last if is_of(last, how.text) else None


def _said_later(swimmer: Swimmer, purpose: str, at: dt.datetime) -> dt.datetime | None:
    """When the first thing after `at` was said about this purpose."""
    after = Q(given_at__gt=at) | Q(ended_at__gt=at)
    rows = swimmer.consents.filter(after, purpose=purpose).values_list("given_at", "ended_at")
    times = [time for row in rows for time in row if time is not None and time > at]
    return min(times, default=None)
