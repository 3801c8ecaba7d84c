"""The consent texts of a club: default words, publishing the next version, which is current.

A published text never changes. A version is published in all languages at once.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from django.conf import settings
from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.utils.translation import gettext as _

from clinics.compute import consent_words as words
from clinics.models import ConsentText, Purpose
from portal.actions.audit import record
from portal.models import Club, Membership

if TYPE_CHECKING:
    from portal.models import User

FOLDER = Path(__file__).resolve().parent.parent / "texts"
LANGUAGES = [code for code, _name in settings.LANGUAGES]


class TextRefused(Exception):
    """It cannot be published; the sentence says why."""


def default_text(purpose: str, language: str) -> str:
    """The plain words that come with the program, for a club that has none of its own."""
    return words.tidy((FOLDER / f"{purpose}.{language}.txt").read_text(encoding="utf-8"))


# --- which is current ------------------------------------------------------------------------


@dataclass
class Texts:
    """The published texts of one club, asked for once."""

    current: dict[str, dict[str, ConsentText]] = field(default_factory=dict)
    asked_from: dict[str, int] = field(default_factory=dict)  # who agreed before it is asked again

    def get(self, purpose: str, language: str) -> ConsentText | None:
        """The current text in this language, or in the site's first."""
        of_purpose = self.current.get(purpose, {})
        return of_purpose.get(language) or of_purpose.get(LANGUAGES[0])

    def version(self, purpose: str) -> int:
        """0: none is published."""
        return next((t.version for t in self.current.get(purpose, {}).values()), 0)

    def purposes(self) -> list[str]:
        """Those with a text, in the order in which they are asked."""
        return [purpose for purpose in Purpose.values if purpose in self.current]

    def outdated(self, purpose: str, text: ConsentText | None) -> bool:
        """Was this agreed to before a version that asks again? Without a text: before them all."""
        return (text.version if text else 0) < self.asked_from.get(purpose, 0)


def texts_of(club: Club) -> Texts:
    """One query."""
    return texts_by_club([club])[club.pk]


def texts_by_club(clubs: Iterable[Club]) -> dict[object, Texts]:
    found: dict[object, Texts] = {club.pk: Texts() for club in clubs}
    for row in ConsentText.objects.filter(club__in=list(found)).order_by("version"):
        texts = found[row.club_id]
        of_purpose = texts.current.setdefault(row.purpose, {})
        if row.version > texts.version(row.purpose):
            of_purpose.clear()
        of_purpose[row.language] = row
        if row.ask_again:
            texts.asked_from[row.purpose] = row.version
    return found


def versions_of(club: Club) -> dict[str, dict[int, list[ConsentText]]]:
    """Every version ever published, newest first, by purpose."""
    found: dict[str, dict[int, list[ConsentText]]] = defaultdict(lambda: defaultdict(list))
    rows = ConsentText.objects.filter(club=club).select_related("published_by")
    for row in rows.order_by("-version", "language"):
        found[row.purpose][row.version].append(row)
    return found


def changed_texts() -> list[ConsentText]:
    """Texts that no longer have the hash they were published with: nobody may change one."""
    rows = ConsentText.objects.select_related("club")
    return [row for row in rows if words.text_hash(row.text) != row.text_sha256]


# --- publishing ----------------------------------------------------------------------------------


def _must_run(club: Club, by: User) -> None:
    admins = Membership.objects.current().filter(club=club, role=Membership.Role.ADMIN)
    if not admins.filter(user=by).exists():
        raise PermissionDenied("only an admin of the club publishes its texts")


@transaction.atomic
def publish_text(
    *, club: Club, purpose: str, text_in: Mapping[str, str], ask_again: bool, by: User
) -> list[ConsentText]:
    """The next version of a purpose, in every language. Raises TextRefused.

    `ask_again`: who agreed to an earlier version is asked again. What they agreed to stays in
    force until they answer.
    """
    _must_run(club, by)
    club = Club.objects.select_for_update().get(pk=club.pk)  # two admins at once: one after another
    tidied = {language: words.tidy(text_in.get(language, "")) for language in LANGUAGES}
    _refuse_incomplete(purpose, tidied)
    texts = texts_of(club)
    before = texts.current.get(purpose, {})
    if before and {lang: row.text for lang, row in before.items()} == tidied:
        raise TextRefused(_("Nothing was changed, so there is no new version."))
    version = texts.version(purpose) + 1
    made = [
        ConsentText(
            club=club,
            purpose=purpose,
            version=version,
            language=language,
            text=text,
            text_sha256=words.text_hash(text),
            ask_again=ask_again,
            published_by=by,
        )
        for language, text in tidied.items()
    ]
    ConsentText.objects.bulk_create(made)
    hashes = {row.language: row.text_sha256 for row in made}
    told = {"purpose": purpose, "version": version, "ask_again": ask_again, "sha256": hashes}
    record(action="consent-text.publish", by=by, subject=made[0], club=club, detail=told)
    return made


def _refuse_incomplete(purpose: str, tidied: Mapping[str, str]) -> None:
    if purpose not in Purpose.values:
        raise TextRefused(_("There is no such purpose."))
    for language, text in tidied.items():
        name = dict(settings.LANGUAGES)[language]
        if not text:
            raise TextRefused(_("The text in %(language)s is empty.") % {"language": name})
        for place in words.unknown_places(text):
            told = {"language": name, "place": f"{{{place}}}"}
            raise TextRefused(
                _("%(language)s: %(place)s is no place for a name that is known here.") % told
            )
        for place in words.missing_places(text, purpose):
            told = {"language": name, "place": f"{{{place}}}"}
            raise TextRefused(_("%(language)s: the text must name %(place)s.") % told)


@transaction.atomic
def publish_defaults(*, club: Club, by: User) -> list[str]:
    """The default words for each purpose that has no text yet; which purposes those were."""
    missing = [purpose for purpose in Purpose.values if not texts_of(club).version(purpose)]
    for purpose in missing:
        text_in = {language: default_text(purpose, language) for language in LANGUAGES}
        publish_text(club=club, purpose=purpose, text_in=text_in, ask_again=False, by=by)
    return missing
