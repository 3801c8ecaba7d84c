"""What a swimmer wishes for one swim: that it is kept longer, or deleted now."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from clinics.actions.keeping_dates import date_swims
from clinics.models import Swim
from portal.actions import audit
from portal.actions.requests import make_request
from portal.models import PersonRequest

if TYPE_CHECKING:
    from portal.models import User

SWIM = Swim._meta.label
Kind, State = PersonRequest.Kind, PersonRequest.State


def ask_to_keep(*, swim: Swim, by: User, words: str) -> PersonRequest:
    """The club decides; until it does, the swim goes on its day as before."""
    return make_request(
        kind=Kind.KEEP_LONGER,
        club=swim.entry.clinic.club,
        user=by,
        by=by,
        subject_kind=SWIM,
        subject_id=swim.pk,
        words=words,
    )


@transaction.atomic
def delete_now(*, swim: Swim, by: User) -> PersonRequest:
    """Nobody is asked: from now on it is due, which hides it, and the next purge deletes it."""
    now = timezone.now()
    wish = make_request(
        kind=Kind.DELETE_NOW,
        club=swim.entry.clinic.club,
        user=by,
        by=by,
        subject_kind=SWIM,
        subject_id=swim.pk,
        state=State.DONE,
    )
    wishes = PersonRequest.objects.filter(subject_kind=SWIM, subject_id=swim.pk)
    wishes.filter(pk=wish.pk).update(answered_at=now)
    longer = wishes.filter(kind=Kind.KEEP_LONGER, state__in=PersonRequest.OPEN_STATES)
    longer.update(state=State.TAKEN_BACK, answered_at=now)
    date_swims(Swim.objects.filter(pk=swim.pk))
    audit.record(action="swim.delete-now", by=by, subject=swim, club=swim.entry.clinic.club)
    return wish


def kept_longer(wish: PersonRequest) -> None:
    """The club said yes: the swim gets its new date."""
    date_swims(Swim.objects.filter(pk=wish.subject_id))
