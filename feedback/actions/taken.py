"""Who works on which swim of the queue: take, let go, hand on, share out."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.utils import timezone

from clinics.models import Clinic, Swim
from feedback.actions.coached import coached_row
from feedback.compute.share_out import how_many_each
from feedback.models import TakenSwim
from feedback.models.queue import ANSWERED, Queued, queue_of
from feedback.privacy import coaches_of
from portal.actions.audit import record

if TYPE_CHECKING:
    from portal.models import User


class TakenAlready(Exception):
    """Another coach took the swim meanwhile."""

    def __init__(self, coach: User) -> None:
        super().__init__(f"taken by {coach.pk}")
        self.coach = coach


class SharedOtherwise(Exception):
    """What was shown is not what would be done now: somebody took or answered swims."""


def holder_of(swim: Swim) -> User | None:
    """The coach who took the swim, while they coach the clinic."""
    taken = TakenSwim.objects.holding().filter(swim=swim).select_related("coach").first()
    return taken.coach if taken else None


@transaction.atomic
def take(*, swim: Swim, by: User) -> None:
    """Take the swim for oneself. Raises TakenAlready; whoever wants it nevertheless hands it
    over to themselves."""
    row = coached_row(swim, by)
    holder = holder_of(row)
    if holder is not None and holder != by:
        raise TakenAlready(holder)
    if holder is None:
        _held_by(row, by, by, "swim.take")


@transaction.atomic
def let_go(*, swim: Swim, by: User) -> None:
    """Leave the swim to whoever takes it next. What is not one's own stays where it is."""
    row = coached_row(swim, by)
    gone, _what = TakenSwim.objects.filter(swim=row, coach=by).delete()
    if gone:
        record(action="swim.let_go", by=by, subject=row, club=row.entry.clinic.club)


@transaction.atomic
def hand_on(*, swim: Swim, to: User, by: User) -> None:
    """Any coach of the clinic hands the swim to any other, or to themselves: it is their common
    work, and somebody may be away."""
    row = coached_row(swim, by)
    if not coaches_of(row.entry.clinic).filter(pk=to.pk).exists():
        raise PermissionDenied("handed to somebody who does not coach the clinic")
    if holder_of(row) != to:
        _held_by(row, to, by, "swim.hand_on")


def _held_by(swim: Swim, coach: User, by: User, action: str) -> None:
    TakenSwim.objects.update_or_create(
        swim=swim, defaults={"coach": coach, "by": by, "at": timezone.now()}
    )
    detail = {"coach": str(coach.pk)}
    record(action=action, by=by, subject=swim, club=swim.entry.clinic.club, detail=detail)


# --- sharing out --------------------------------------------------------------------------------


@dataclass(frozen=True)
class Portion:
    """What one coach gets, in running order, and how many of the clinic's they have already."""

    coach: User
    swims: tuple[Queued, ...]
    has: int


def portions(*, clinic: Clinic, by: User, among: Sequence[User]) -> list[Portion]:
    """How the clinic's waiting swims that nobody took would be shared among these coaches: in
    running order, one run of it each, so that all have about the same in the end."""
    here = [queued for queued in queue_of(by) if queued.clinic == clinic.pk]
    waiting = [queued for queued in here if queued.missing != ANSWERED]
    has = [sum(queued.holder == coach.pk for queued in waiting) for coach in among]
    free = [queued for queued in waiting if queued.holder is None]
    free.sort(key=lambda queued: (queued.start_at, queued.pk))
    shares: list[Portion] = []
    begin = 0
    for coach, held, count in zip(among, has, how_many_each(len(free), has), strict=True):
        shares.append(Portion(coach, tuple(free[begin : begin + count]), held))
        begin += count
    return shares


def stamp_of(shares: Sequence[Portion]) -> str:
    """Says who gets which swims, to compare what was shown with what would be done."""
    told = [[str(share.coach.pk), *(str(swim.pk) for swim in share.swims)] for share in shares]
    return hashlib.sha256(json.dumps(told).encode()).hexdigest()


@transaction.atomic
def share_out(*, clinic: Clinic, by: User, among: Sequence[User], shown: str) -> list[Portion]:
    """Do what was shown (its stamp), in one act. Raises SharedOtherwise when that changed."""
    mine = Clinic.objects.coached_by(by).filter(pk=clinic.pk).values("pk")
    locked = Clinic.objects.select_for_update(of=("self",)).filter(pk__in=mine)
    row = locked.select_related("club").first()
    known = set(coaches_of(clinic).values_list("pk", flat=True))
    if row is None or not {coach.pk for coach in among} <= known:
        raise PermissionDenied("only the clinic's coaches share its swims, among themselves")
    shares = portions(clinic=row, by=by, among=among)
    if stamp_of(shares) != shown:
        raise SharedOtherwise
    _write(shares, by, timezone.now())
    told = {str(share.coach.pk): len(share.swims) for share in shares}
    record(action="swims.share_out", by=by, subject=row, club=row.club, detail=told)
    return shares


def _write(shares: Sequence[Portion], by: User, at: dt.datetime) -> None:
    given = [(queued.pk, share.coach) for share in shares for queued in share.swims]
    # what somebody who is no longer a coach here once took stands in the way
    TakenSwim.objects.filter(swim__in=[swim for swim, _coach in given]).delete()
    TakenSwim.objects.bulk_create(
        TakenSwim(swim_id=swim, coach=coach, by=by, at=at) for swim, coach in given
    )
