"""Waiting for you: a coach's swims over all clinics and clubs, what is missing, who took them."""

from __future__ import annotations

import uuid
from collections import Counter
from dataclasses import dataclass, replace
from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from clinics.models import Swim
from feedback.models.queue import (
    ANSWERED,
    ASKS_BACK,
    DRAFTS,
    NO_ONE_THING,
    NO_PICTURES,
    NOT_GIVEN,
    NOTHING_SAID,
    Queued,
    queue_of,
)
from feedback.views.my_swims import Still, stills_of, with_pictures
from feedback.views.walk import EVERYTHING, FREE, MINE, MISSING, QueueForm, Walk, walk_of
from portal.models import Membership, User
from portal.pages import page_of
from portal.requests import SignedInRequest

# by word and by shape, see .state in site.css
STATE_CLASS = {
    ASKS_BACK: "unknown",
    NOTHING_SAID: "look",
    DRAFTS: "busy",
    NOT_GIVEN: "busy",
    NO_ONE_THING: "look",
    NO_PICTURES: "busy",
    ANSWERED: "",
}


@dataclass(frozen=True)
class QueueRow:
    swim: Swim
    still: Still | None
    missing: str
    state_class: str
    also: list[str]  # what else is missing
    said: int
    holder: User | None
    query: str  # the walk from here, and the place at which the room opens


def _row(queued: Queued, swim: Any, holder: User | None, query: str) -> QueueRow:
    stills = stills_of(swim.seen_clips)
    lacking = {
        DRAFTS: queued.unsent,
        NO_ONE_THING: queued.said and not queued.one_thing,
        NO_PICTURES: queued.being_made,
    }
    return QueueRow(
        swim=swim,
        still=stills[0] if stills else None,
        missing=str(MISSING[queued.missing]),
        state_class=STATE_CLASS[queued.missing],
        also=[str(MISSING[it]) for it, lacks in lacking.items() if lacks and it != queued.missing],
        said=queued.comment_count or 0,
        holder=holder,
        query=query,
    )


def _rows(chosen: list[Queued], walk: Walk, user: User) -> list[QueueRow]:
    """The fence is asked again for what is shown."""
    found = Swim.objects.coached_by(user).filter(pk__in=[queued.pk for queued in chosen])
    swims = {swim.pk: swim for swim in with_pictures(found, user)}
    holders = User.objects.in_bulk({queued.holder for queued in chosen if queued.holder})
    return [
        _row(queued, swims[queued.pk], holders.get(queued.holder), walk.opening(queued))  # type: ignore[arg-type]
        for queued in chosen
        if queued.pk in swims
    ]


def _counts(queue: list[Queued], walk: Walk, user: User) -> dict[str, int]:
    """How many each choice of what is missing would show."""
    choices = ("", *MISSING, EVERYTHING)
    return {show: len(replace(walk, show=show).of(queue, user)) for show in choices}


def _whose(queue: list[Queued], walk: Walk, user: User) -> list[tuple[str, int, str, bool]]:
    """Everybody's, the coach's own, taken by nobody: how many, the address, is it chosen."""
    choices = [replace(walk, whose=whose) for whose in ("", MINE, FREE)]
    return [
        (choice.whose, len(choice.of(queue, user)), choice.query(), choice == walk)
        for choice in choices
    ]


def _to_share(queue: list[Queued], user: User) -> list[dict[str, Any]]:
    """Clinics with waiting swims that nobody took, and another coach to share them with."""
    coaching = Membership.objects.current().filter(role=Membership.Role.COACH).exclude(user=user)
    shared = set(coaching.values_list("club_id", flat=True))
    free = [q for q in Walk(whose=FREE).of(queue, user) if q.club in shared]
    names: dict[uuid.UUID, str] = {q.clinic: q.clinic_name for q in free}
    counted = Counter(q.clinic for q in free)
    return [{"pk": pk, "name": names[pk], "count": count} for pk, count in counted.items()]


@require_safe
def waiting(request: SignedInRequest) -> HttpResponse:
    user = request.user
    form = QueueForm(request.GET, user=user)
    walk = replace(walk_of(request.GET, user, form=form), was="")
    queue = queue_of(user)
    form.count(_counts(queue, walk, user))
    shown = page_of(walk.of(queue, user), request.GET)
    context = {
        "rows": _rows(shown.rows, walk, user),
        "page": shown,
        "form": form,
        "walk": walk,
        "whose": _whose(queue, walk, user),
        "to_share": _to_share(queue, user),
        "everything_done": not walk.query(),
    }
    return render(request, "feedback/waiting.html", context)
