"""What a swimmer is asked: for each purpose the text as they read it, with who stands in it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from clinics.actions.consent_names import Names, in_text
from clinics.actions.consent_state import Standing, State
from clinics.actions.consent_texts import Texts
from clinics.compute import consent_words as words
from clinics.models import Consent


@dataclass(frozen=True)
class Question:
    """One purpose: the sentence beside the box, what explains it, and where the swimmer stands."""

    purpose: str
    version: int
    language: str
    sentence: str
    explained: list[str]
    standing: Standing | None = None

    @property
    def replaces(self) -> bool:
        """The swimmer agreed to an earlier version, or with other names in it."""
        return self.standing is not None and self.standing.state == State.AGAIN

    @property
    def consent(self) -> Consent | None:
        return self.standing.consent if self.standing else None


def questions(
    texts: Texts, names: Names, language: str, standings: dict[str, Standing] | None = None
) -> list[Question]:
    """All purposes with a text, in order; none where the club has published nothing."""
    found = []
    for purpose in texts.purposes():
        text = texts.get(purpose, language)
        if text is None:
            continue
        in_places = in_text(names, text.language)
        found.append(
            Question(
                purpose=purpose,
                version=text.version,
                language=text.language,
                sentence=words.filled(words.sentence(text.text), in_places),
                explained=[words.filled(part, in_places) for part in words.explained(text.text)],
                standing=(standings or {}).get(purpose),
            )
        )
    return found


def open_questions(asked: Iterable[Question]) -> list[Question]:
    """Those that want an answer: the others are agreed to, and nothing has changed."""
    return [q for q in asked if q.standing is None or q.standing.state != State.AGREES]
