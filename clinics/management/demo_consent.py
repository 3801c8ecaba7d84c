"""Texts and answers for the demo clinic: the default texts, and swimmers who differ."""

from __future__ import annotations

from typing import TYPE_CHECKING

from clinics.actions.consent import How
from clinics.actions.consent_answers import Answers, take_answers
from clinics.actions.consent_texts import publish_defaults
from clinics.models import Clinic, Consent, Purpose

if TYPE_CHECKING:
    from portal.models import User

# By place in the running order: whom the group and coaches elsewhere may see, and whose measures
# count. The rest were asked for the base consent and for their measures alone.
SAY = [
    {Purpose.SHOW_TO_GROUP: True, Purpose.COACH_EDUCATION: True, Purpose.PUBLISH: False},
    {Purpose.SHOW_TO_GROUP: True, Purpose.COACH_EDUCATION: False},
    {Purpose.SHOW_TO_GROUP: False, Purpose.COACH_EDUCATION: True},
    {Purpose.SHOW_TO_GROUP: True},
]
DOES_NOT_COUNT = 1  # the place in the running order of the one who says no to it


def answer_in_demo(clinic: Clinic, *, admin: User) -> None:
    """Everybody agreed to be filmed before; repeated, it changes nothing."""
    publish_defaults(club=clinic.club, by=admin)
    entries = clinic.entries.select_related("swimmer").order_by("order")
    for place, entry in enumerate(entries):
        says = SAY[place] if place < len(SAY) else {}
        counts = {Purpose.COUNT_AMONG_GROUP: place != DOES_NOT_COUNT}
        answers = Answers(
            choices={str(purpose): yes for purpose, yes in (says | counts).items()},
            language=admin.language,
            adult=True,
        )
        how = How(method=Consent.Method.LINK)
        take_answers(swimmer=entry.swimmer, answers=answers, how=how, clinic=clinic)
