"""The consent board: every swimmer of a clinic, or of a club, with each purpose's standing."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from django.db.models import Max, Prefetch, Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from clinics.actions.consent_names import Names, names_for
from clinics.actions.consent_state import Standing, State, standings, with_consents
from clinics.actions.consent_texts import Texts, texts_of
from clinics.models import Clinic, Consent, ConsentRequest, Entry, Swimmer
from clinics.privacy import FILM_AND_REVIEW

if TYPE_CHECKING:
    from collections.abc import Callable

    from portal.models import Club


@dataclass(frozen=True)
class Line:
    """One entry. `before` are earlier answers about being filmed, newest first."""

    entry: Entry
    by_purpose: dict[str, Standing]
    request: ConsentRequest | None
    before: list[Consent] = field(default_factory=list)

    @property
    def film(self) -> Standing:
        return self.by_purpose[FILM_AND_REVIEW]

    @property
    def others(self) -> list[Standing]:
        return [s for purpose, s in self.by_purpose.items() if purpose != FILM_AND_REVIEW]

    @property
    def must_ask(self) -> bool:
        return any(standing.must_ask for standing in self.by_purpose.values())

    @property
    def waits(self) -> bool:
        """A link is out and has not been answered."""
        return self.request is not None and self.request.answered_at is None

    @property
    def asked_at(self) -> dt.datetime | None:
        return self.request.asked_at if self.request else None


@dataclass(frozen=True)
class Board:
    clinic: Clinic
    texts: Texts
    names: Names
    lines: list[Line]

    def shown(self, which: str) -> list[Line]:
        keep = FILTERS.get(which, FILTERS["all"])[1]
        return [line for line in self.lines if keep(line)]

    def to_ask(self) -> list[Swimmer]:
        return [line.entry.swimmer for line in self.lines if line.must_ask]


def _said_no(line: Line) -> bool:
    return line.film.state in {State.REFUSED, State.ENDED}


FILTERS: dict[str, tuple[Any, Callable[[Line], bool]]] = {
    "all": (_("everybody"), lambda line: True),
    "agrees": (_("agree to be filmed"), lambda line: line.film.in_force),
    "missing": (_("no answer yet"), lambda line: line.film.state == State.MISSING),
    "again": (
        _("must be asked again"),
        lambda line: any(s.state == State.AGAIN for s in line.by_purpose.values()),
    ),
    "no": (_("not to be filmed"), _said_no),
    "asked": (_("asked, not answered"), lambda line: line.waits),
}


def board_of(clinic: Clinic) -> Board:
    """A bounded number of queries, however many swimmers there are."""
    texts, names = texts_of(clinic.club), names_for(clinic.club, clinic)
    entries = clinic.entries.select_related("swimmer__club", "swimmer__user", "lane_group")
    entries = entries.prefetch_related(
        with_consents("swimmer__consents"), _open_requests("swimmer__consent_requests")
    )
    # joined to the swims only here: their date is the same for all swims of one withdrawal
    rows = entries.annotate(goes_at=Max("swims__delete_by")).order_by("number")
    # nobody is asked again because of who looks after a clinic that is over
    in_text = None if clinic.state == Clinic.State.CLOSED else names
    return Board(clinic, texts, names, [_line(entry, texts, in_text) for entry in rows])


def _open_requests(path: str) -> Prefetch[Any]:
    """Links that are still out; the newest first."""
    still = Q(ended_at__isnull=True, expires_at__gt=timezone.now())
    return Prefetch(path, ConsentRequest.objects.filter(still).order_by("-asked_at"))


def _line(entry: Entry, texts: Texts, names: Names | None) -> Line:
    told = [c for c in entry.swimmer.consents.all() if c.purpose == FILM_AND_REVIEW]
    before = [consent for consent in reversed(told) if consent.ended_at is not None]
    request = next(iter(entry.swimmer.consent_requests.all()), None)
    return Line(entry, standings(entry.swimmer, texts, names), request, before)


def to_ask_again(club: Club) -> list[Swimmer]:
    """Swimmers of the club who agreed to a text that a later one has replaced."""
    texts = texts_of(club)
    agree = Swimmer.objects.filter(
        club=club, consents__given_at__isnull=False, consents__ended_at__isnull=True
    )
    swimmers = agree.distinct().select_related("club", "user").order_by("name")
    return [
        swimmer
        for swimmer in swimmers.prefetch_related(with_consents())
        if any(s.state == State.AGAIN for s in standings(swimmer, texts, None).values())
    ]
