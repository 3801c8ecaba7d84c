"""How a swimmer stands towards each purpose: agrees, must be asked again, said no, not asked.

Who must be asked again still agrees: what was agreed to stays in force until they answer.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.db import models
from django.db.models import Prefetch, QuerySet, prefetch_related_objects
from django.utils.translation import gettext_lazy as _

from clinics.actions.consent_names import Names, names_somebody_new
from clinics.actions.consent_texts import Texts
from clinics.models import Consent, Swimmer
from clinics.privacy import FILM_AND_REVIEW


class State(models.TextChoices):
    AGREES = "agrees", _("agrees")
    AGAIN = "again", _("agrees; must be asked again")
    REFUSED = "refused", _("does not agree")
    ENDED = "ended", _("no longer agrees")
    MISSING = "missing", _("no answer yet")


class Why(models.TextChoices):
    NONE = "", ""
    TEXT = "text", _("the text has changed")
    NAMES = "names", _("somebody new stands in the text")


@dataclass(frozen=True)
class Standing:
    """One purpose of one swimmer. `consent` is what is in force, else what was said last."""

    purpose: str
    state: State
    consent: Consent | None = None
    why: Why = Why.NONE

    @property
    def label(self) -> Any:
        return Consent.Purpose(self.purpose).label

    @property
    def in_force(self) -> bool:
        return self.state in {State.AGREES, State.AGAIN}

    @property
    def must_ask(self) -> bool:
        """The base consent must have an answer; an optional one is asked for once only."""
        unanswered = self.state == State.MISSING and self.purpose == FILM_AND_REVIEW
        return unanswered or self.state == State.AGAIN


def with_consents(path: str = "consents") -> Prefetch[Any]:
    """All answers, oldest first, with their texts: one query for any number of swimmers."""
    rows: QuerySet[Consent] = Consent.objects.select_related("text", "recorded_by")
    return Prefetch(path, rows.order_by("given_at", "ended_at"))


def standings_now(swimmer: Swimmer, texts: Texts, names: Names | None) -> dict[str, Standing]:
    """Of one swimmer, who is asked about alone. Two queries."""
    prefetch_related_objects([swimmer], with_consents())
    return standings(swimmer, texts, names)


def standings(swimmer: Swimmer, texts: Texts, names: Names | None) -> dict[str, Standing]:
    """By purpose: those with a text, and those about which something was said. `names`: who
    stands in the text of the clinic in question; None: that is not asked here."""
    told = list(swimmer.consents.all())  # fetched before by `with_consents`
    asked = [*texts.purposes(), *(consent.purpose for consent in told), FILM_AND_REVIEW]
    purposes = [purpose for purpose in Consent.Purpose.values if purpose in asked]
    return {
        purpose: _standing(purpose, [c for c in told if c.purpose == purpose], texts, names)
        for purpose in purposes
    }


def _standing(purpose: str, told: Iterable[Consent], texts: Texts, names: Names | None) -> Standing:
    told = list(told)
    current = next((consent for consent in told if consent.ended_at is None), None)
    if current is not None:
        why = _why_again(current, texts, names)
        return Standing(purpose, State.AGAIN if why else State.AGREES, current, why)
    if not told:
        return Standing(purpose, State.MISSING)
    last = max(told, key=lambda consent: (consent.ended_at or consent.given_at, consent.given_at))
    agreed = last.choice == Consent.Choice.AGREES
    return Standing(purpose, State.ENDED if agreed else State.REFUSED, last)


def _why_again(current: Consent, texts: Texts, names: Names | None) -> Why:
    if texts.outdated(current.purpose, current.text):
        return Why.TEXT
    of_film = current.purpose == FILM_AND_REVIEW and names is not None
    return Why.NAMES if of_film and names_somebody_new(current.names, names) else Why.NONE  # type: ignore[arg-type]
