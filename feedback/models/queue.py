"""The coach's queue: which swims wait for a coach, and for what."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.db.models import Case, CharField, F, OuterRef, Q, QuerySet, Subquery, Value, When

from clinics.models import Swim
from feedback.models.comments import Comment

if TYPE_CHECKING:
    from portal.models import User

ASKS_BACK = "asks-back"  # the swimmer spoke last
NOTHING_SAID = "nothing-said"  # no coach has said anything yet
NOT_GIVEN = "not-given"  # something is said, the swimmer does not have it yet
ANSWERED = "answered"
URGENCY = {ASKS_BACK: 1, NOTHING_SAID: 2, NOT_GIVEN: 3, ANSWERED: 4}


def _said_at(by: Q) -> Subquery:
    """When the last comment by these was sent."""
    said = Comment.objects.filter(by, swim_id=OuterRef("pk"), sent_at__isnull=False)
    return Subquery(said.order_by("-sent_at").values("sent_at")[:1])


def swims_coached_by(user: User) -> QuerySet[Any]:
    """Passed swims of all clinics of this coach, each with `missing`, what is wanted first.

    A swimmer is known by the user they sign in as; whoever else speaks is a coach. A
    swimmer without one has said nothing.
    """
    swimmer = Q(author_id=F("swim__entry__swimmer__user_id"))
    coach = Q(swim__entry__swimmer__user__isnull=True) | ~swimmer | Q(author__isnull=True)
    return (
        Swim.objects.coached_by(user)
        .annotate(coach_said_at=_said_at(coach), swimmer_said_at=_said_at(swimmer))
        .annotate(
            missing=Case(
                When(
                    Q(swimmer_said_at__isnull=False)
                    & (Q(coach_said_at__isnull=True) | Q(swimmer_said_at__gt=F("coach_said_at"))),
                    then=Value(ASKS_BACK),
                ),
                When(coach_said_at__isnull=True, then=Value(NOTHING_SAID)),
                When(given_at__isnull=True, then=Value(NOT_GIVEN)),
                default=Value(ANSWERED),
                output_field=CharField(),
            )
        )
        .annotate(urgency=Case(*(When(missing=m, then=Value(u)) for m, u in URGENCY.items())))
        .order_by("urgency", "entry__clinic__date", "start_at", "pk")
    )


def waiting_for(user: User) -> QuerySet[Any]:
    """Of these, the swims for which something is missing."""
    return swims_coached_by(user).exclude(missing=ANSWERED)
