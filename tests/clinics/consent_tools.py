"""What the tests of asking and answering share."""

from __future__ import annotations

import re
from typing import Any

from clinics.actions.consent_answers import Answers
from clinics.actions.consent_texts import default_text, publish_defaults, publish_text
from clinics.models import Consent, Swimmer
from portal.models import OutboxMail
from tests.cast import Cast, make_entry

FILM, GROUP, COACHES, PUBLISH = "film-and-review", "show-to-group", "coach-education", "publish"
COUNT = "count-among-group"


def with_texts(cast: Cast) -> Cast:
    publish_defaults(club=cast.harbour, by=cast.admin)
    return cast


def next_version(cast: Cast, purpose: str = FILM, *, ask_again: bool = True) -> None:
    text_in = {lang: default_text(purpose, lang) + "\n\nMore." for lang in ("en", "fr")}
    publish_text(
        club=cast.harbour, purpose=purpose, text_in=text_in, ask_again=ask_again, by=cast.admin
    )


def newcomer(cast: Cast, name: str = "Bela Roan", email: str = "", number: int = 9) -> Swimmer:
    """Entered, and has not been asked for anything."""
    entry = make_entry(cast.clinic, name, number, None, email)
    entry.swimmer.consents.all().delete()
    return entry.swimmer


def yes(*purposes: str, no: tuple[str, ...] = (), **more: Any) -> Answers:
    choices = dict.fromkeys(purposes, True) | dict.fromkeys(no, False)
    return Answers(choices=choices, language="en", **more)


def in_force(swimmer: Swimmer) -> set[str]:
    rows = Consent.objects.filter(swimmer=swimmer, ended_at__isnull=True)
    return set(rows.values_list("purpose", flat=True))


def link_in(mail: OutboxMail) -> str:
    """The path of the personal link in a mail."""
    found = re.search(r"https?://[^/\s]+(/consent/\S+)", mail.body)
    assert found is not None
    return found[1]
