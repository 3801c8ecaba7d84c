"""A coach's walk along the queue: which of it was chosen, and where in it a swim stands.

The choice travels in the address. So does `was`, what the swim waited for when it was opened:
its place in the walk stays the same while the coach works on it, and is known still when it
waits for nothing any more.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from django import forms
from django.http import QueryDict
from django.utils.translation import gettext_lazy as _

from clinics.models import Clinic, Swim
from feedback.models.queue import (
    ANSWERED,
    ASKS_BACK,
    DRAFTS,
    NO_ONE_THING,
    NO_PICTURES,
    NOT_GIVEN,
    NOTHING_SAID,
    URGENCY,
    Queued,
    queue_of,
)
from portal.models import User
from portal.row_field import RowChoiceField

MINE, FREE = "mine", "free"
EVERYTHING = "all"
MISSING = {
    ASKS_BACK: _("the swimmer asks back"),
    NOTHING_SAID: _("nothing said yet"),
    DRAFTS: _("drafts not sent"),
    NOT_GIVEN: _("said, not given yet"),
    NO_ONE_THING: _("no one thing to try"),
    NO_PICTURES: _("pictures still being made"),
    ANSWERED: _("answered and given"),
}


class QueueForm(forms.Form):
    """What of the queue is shown."""

    show = forms.ChoiceField(
        label=_("What is missing"),
        required=False,
        choices=[("", _("anything")), *MISSING.items(), (EVERYTHING, _("everything, done too"))],
    )
    whose = forms.ChoiceField(
        label=_("Whose"),
        required=False,
        choices=[("", _("everybody's")), (MINE, _("mine")), (FREE, _("not taken"))],
    )
    clinic = RowChoiceField(
        Clinic.objects.none(), label=_("Clinic"), required=False, empty_label=_("all clinics")
    )

    def __init__(self, *args: Any, user: User) -> None:
        super().__init__(*args)
        self.fields["clinic"].queryset = Clinic.objects.coached_by(user)  # type: ignore[attr-defined]

    def count(self, counts: dict[str, int]) -> None:
        """Say beside each choice how many swims it would show."""
        show: Any = self.fields["show"]
        show.choices = [(value, f"{label} ({counts[value]})") for value, label in show.choices]


@dataclass(frozen=True)
class Walk:
    """What of the queue was chosen; what makes no sense in an address was not."""

    show: str = ""
    whose: str = ""
    clinic: uuid.UUID | None = None
    was: str = ""

    def of(self, queue: Iterable[Queued], user: User) -> list[Queued]:
        """The chosen swims of a coach's queue, in its order."""
        return [queued for queued in queue if self.takes_in(queued, user)]

    def takes_in(self, queued: Queued, user: User) -> bool:
        if self.clinic and queued.clinic != self.clinic:
            return False
        if self.whose and queued.holder != (user.pk if self.whose == MINE else None):
            return False
        if not self.show:
            return queued.missing != ANSWERED
        return self.show == EVERYTHING or queued.lacks(self.show)

    def query(self, was: str = "") -> str:
        """The choice for an address, empty where nothing was chosen."""
        told = {"show": self.show, "whose": self.whose, "clinic": self.clinic, "was": was}
        return urlencode({name: value for name, value in told.items() if value})

    def opening(self, queued: Queued) -> str:
        """The query with which a swim of this walk is opened: at the question, if one waits."""
        query = self.query(queued.missing)
        return f"{query}#said-{queued.swimmer_said}" if queued.asks_back else query

    @property
    def here(self) -> str:
        """The same walk from the same place."""
        return self.query(self.was)


def walk_of(asked: QueryDict, user: User, *, form: QueueForm | None = None) -> Walk:
    """From an address. The clinic is one of the user's, else none."""
    form = form or QueueForm(asked, user=user)
    form.is_valid()
    chosen = form.cleaned_data
    was = asked.get("was", "")
    return Walk(
        show=chosen.get("show", ""),
        whose=chosen.get("whose", ""),
        clinic=chosen["clinic"].pk if chosen.get("clinic") else None,
        was=was if was in URGENCY else "",
    )


# --- where a swim stands --------------------------------------------------------------------------


@dataclass(frozen=True)
class Neighbour:
    pk: uuid.UUID
    name: str
    query: str  # with the place at which the room opens


@dataclass(frozen=True)
class InQueue:
    """Where the swim stands among those that were chosen."""

    number: int
    of: int
    waits: bool  # it is one of them itself
    previous: Neighbour | None
    next: Neighbour | None


def in_queue(swim: Swim, user: User, walk: Walk) -> InQueue:
    """For a coach of the swim. One query, however long the queue is."""
    queue = queue_of(user)
    this = next(queued for queued in queue if queued.pk == swim.pk)
    here = this.place_if(walk.was or this.missing)
    others = [queued for queued in walk.of(queue, user) if queued != this]
    before = [queued for queued in others if queued.place < here]
    after = others[len(before) :]
    waits = walk.takes_in(this, user)
    return InQueue(
        number=len(before) + 1,
        of=len(others) + waits,
        waits=waits,
        previous=_neighbour(before[-1], walk) if before else None,
        next=_neighbour(after[0], walk) if after else None,
    )


def _neighbour(queued: Queued, walk: Walk) -> Neighbour:
    return Neighbour(pk=queued.pk, name=queued.swimmer, query=walk.opening(queued))
