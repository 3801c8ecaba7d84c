"""What was answered about consent on a sign-up: kept with it, and put in force when it becomes
an entry, at the instant and with the words of then.

An answer is `{"agrees", "version", "language", "names", "at"}` by purpose.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext

from clinics.actions.consent import ConsentRefused, How, end_in_force, in_force
from clinics.actions.consent import locked as locked_swimmer
from clinics.actions.consent_answers import Answers, take_answers
from clinics.actions.consent_names import in_text, names_for
from clinics.actions.consent_texts import texts_of
from clinics.actions.sign_up_state import State
from clinics.compute import consent_words as words
from clinics.compute.time import iso_utc
from clinics.models import Clinic, Consent, ConsentText, SignUp, Swimmer
from clinics.privacy import FILM_AND_REVIEW
from portal.actions.audit import record
from portal.actions.ledger import note_withdrawn

if TYPE_CHECKING:
    from portal.models import Club, User

Kept = dict[str, dict[str, Any]]
METHODS = {SignUp.Came.ACCOUNT: Consent.Method.ACCOUNT}


def as_kept(clinic: Clinic, answers: Answers, at: dt.datetime) -> Kept:
    """Raises ConsentRefused where there is no such text."""
    if not answers.choices:
        return {}
    club, kept = clinic.club, dict[str, dict[str, Any]]()
    texts, names = texts_of(club), names_for(club, clinic)
    for purpose, agrees in answers.choices.items():
        text = texts.get(purpose, answers.language)
        version = (answers.versions or {}).get(purpose, text.version if text else 0)
        if text is None or not _is_published(club, text, version):
            raise ConsentRefused(gettext("There is no such version of the text."))
        kept[purpose] = {
            "agrees": bool(agrees),
            "version": version,
            "language": text.language,
            "names": names,
            "at": iso_utc(at),
        }
    return kept


def _is_published(club: Club, text: ConsentText, version: int) -> bool:
    if version == text.version:
        return True
    of_purpose = ConsentText.objects.filter(club=club, purpose=text.purpose, version=version)
    return of_purpose.filter(language=text.language).exists()


def said_again(kept: Mapping[str, Mapping[str, Any]], at: dt.datetime) -> Kept:
    """The same answers, said at another instant: when they were confirmed."""
    return {purpose: {**said, "at": iso_utc(at)} for purpose, said in kept.items()}


def agrees_to_film(sign_up: SignUp) -> bool | None:
    """As far as is known: by this sign-up, or by what was agreed to before. None: nobody has
    asked yet."""
    said = sign_up.answers.get(FILM_AND_REVIEW)
    if said is not None:
        return bool(said["agrees"])
    if sign_up.swimmer is None:
        return None
    return True if in_force(sign_up.swimmer, FILM_AND_REVIEW) is not None else None


def put_in_force(sign_up: SignUp, *, by: User | None = None) -> list[Consent]:
    """By `take_answers`, as every answer: what the swimmer said elsewhere after that stays, and
    the same answer twice is one. Raises ConsentRefused. Without its swimmer: nothing."""
    clinic, taken = sign_up.sheet.clinic, list[Consent]()
    if sign_up.swimmer is None:
        return taken
    for (language, at), said in _by_instant(sign_up.answers).items():
        instant = dt.datetime.fromisoformat(at)
        how = How(
            method=METHODS.get(SignUp.Came(sign_up.came), Consent.Method.LINK),
            by=by or sign_up.user,
            names=next(iter(said.values()))["names"],  # said together, read together
            client_id=f"sign-up-{sign_up.pk.hex}-{instant.timestamp() * 1e6:.0f}",
            at=instant,
        )
        answers = Answers(
            choices={purpose: one["agrees"] for purpose, one in said.items()},
            versions={purpose: one["version"] for purpose, one in said.items()},
            language=language,
            adult=True,  # nobody signs up without having said so
        )
        taken += take_answers(swimmer=sign_up.swimmer, answers=answers, how=how, clinic=clinic)
    return taken


def _by_instant(kept: Kept) -> dict[tuple[str, str], Kept]:
    """Those that were given together, in order of time."""
    found: dict[tuple[str, str], Kept] = defaultdict(dict)
    for purpose, said in kept.items():
        found[said["language"], said["at"]][purpose] = said
    return dict(sorted(found.items(), key=lambda one: one[0][1]))


@transaction.atomic
def end_answer(*, sign_up: SignUp, purpose: str, by: User | None) -> None:
    """One click, at any time: of what was answered here, and of what is in force once
    the person is in the running order."""
    rows = SignUp.objects.select_for_update(of=("self",)).select_related("sheet__clinic__club")
    row = rows.get(pk=sign_up.pk)
    said = row.answers.get(purpose)
    if said is not None and said["agrees"]:
        row.answers[purpose] = {**said, "agrees": False, "at": iso_utc(timezone.now())}
        row.save(update_fields=["answers"])
        note_withdrawn(SignUp._meta.label, row.pk, purpose)
        told = {"purpose": purpose}
        record(
            action="sign-up.end-answer", by=by, subject=row, club=row.sheet.clinic.club, detail=told
        )
    if row.state != State.TO_CONFIRM and row.entry_id and row.swimmer_id:
        swimmer = locked_swimmer(Swimmer(pk=row.swimmer_id))
        current = in_force(swimmer, purpose)
        if current is not None:
            end_in_force(current, swimmer=swimmer, by=by)


def end_answer_again(pk: str, purpose: str, when: dt.datetime) -> bool:
    """After a restore: what was taken back since is so again."""
    row = SignUp.objects.filter(pk=pk).first()
    said = row.answers.get(purpose) if row is not None else None
    if row is None or said is None or not said["agrees"]:
        return False
    if dt.datetime.fromisoformat(said["at"]) > when:
        return False
    row.answers[purpose] = {**said, "agrees": False, "at": iso_utc(when)}
    row.save(update_fields=["answers"])
    return True


@dataclass(frozen=True)
class Told:
    """One answer as its writer reads it: the sentence beside the box."""

    purpose: str
    sentence: str
    agrees: bool
    at: dt.datetime


def told_answers(sign_up: SignUp) -> list[Told]:
    """In the order in which they are asked; with the words of then. One query."""
    club = sign_up.sheet.clinic.club
    rows = ConsentText.objects.filter(club=club, purpose__in=list(sign_up.answers))
    by_key = {(text.purpose, text.version, text.language): text for text in rows}
    found = []
    for purpose in Consent.Purpose.values:
        said = sign_up.answers.get(purpose)
        text = by_key.get((purpose, said["version"], said["language"])) if said else None
        if said is None or text is None:
            continue
        sentence = words.filled(words.sentence(text.text), in_text(said["names"], text.language))
        at = dt.datetime.fromisoformat(said["at"])
        found.append(Told(purpose, sentence, said["agrees"], at))
    return found
