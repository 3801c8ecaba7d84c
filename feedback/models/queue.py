"""The coach's queue: which swims wait for a coach, for what, and who took them.

One question to the database for the whole queue; what follows from its answers is said here in
Python, so that a list, its counts and the way along it cannot disagree.
"""

from __future__ import annotations

import datetime as dt
import uuid
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.db.models import Count, Exists, F, OuterRef, Q, QuerySet, Subquery, UUIDField

from clinics.models import Clip, Swim
from feedback.models.comments import Comment
from feedback.models.drawings import Drawing
from feedback.models.given import Feedback, FeedbackSent, TakenSwim

if TYPE_CHECKING:
    from portal.models import User

ASKS_BACK = "asks-back"  # the swimmer spoke last
NOTHING_SAID = "nothing-said"  # no coach has said anything yet
DRAFTS = "drafts"  # written or drawn, not sent
NOT_GIVEN = "not-given"  # something is sent, the swimmer does not have the swim yet
NO_ONE_THING = "no-one-thing"  # the swimmer has it, and never got feedback as a whole
NO_PICTURES = "no-pictures"  # nothing to look at yet
ANSWERED = "answered"
URGENCY = {
    ASKS_BACK: 1,
    NOTHING_SAID: 2,
    DRAFTS: 3,
    NOT_GIVEN: 4,
    NO_ONE_THING: 5,
    NO_PICTURES: 6,
    ANSWERED: 7,
}
Place = tuple[int, dt.date, dt.datetime, uuid.UUID]


@dataclass(frozen=True)
class Queued:
    """A swim of a coach's clinics, and where it stands. The fields are those of `_COLUMNS`."""

    pk: uuid.UUID
    start_at: dt.datetime
    given_at: dt.datetime | None
    clinic: uuid.UUID
    clinic_name: str
    date: dt.date
    club: uuid.UUID
    swimmer: str
    coach_said_at: dt.datetime | None
    swimmer_said_at: dt.datetime | None
    swimmer_said: uuid.UUID | None  # the comment
    sent_at: dt.datetime | None  # feedback as a whole, the newest
    one_thing: str | None  # of it
    comment_count: int | None
    drafted: bool  # by this coach
    drawn: bool
    written: bool  # by the coaches together, and changed since it was sent
    pictures: bool
    being_made: bool
    holder: uuid.UUID | None

    @property
    def said(self) -> bool:
        return self.coach_said_at is not None or self.sent_at is not None

    @property
    def unsent(self) -> bool:
        return self.drafted or self.drawn or self.written

    @property
    def asks_back(self) -> bool:
        asked = self.swimmer_said_at
        answers = (self.coach_said_at, self.sent_at)
        return asked is not None and all(at is None or at < asked for at in answers)

    @property
    def missing(self) -> str:
        """What is wanted first."""
        if self.asks_back:
            return ASKS_BACK
        if not self.said:
            none = NOTHING_SAID if self.pictures else NO_PICTURES
            return DRAFTS if self.unsent and self.pictures else none
        if self.unsent:
            return DRAFTS
        if self.given_at is None:
            return NOT_GIVEN
        return NO_ONE_THING if self.sent_at is None else ANSWERED

    def lacks(self, what: str) -> bool:
        """A swim may lack more than what it waits for first."""
        return {
            ASKS_BACK: self.asks_back,
            NOTHING_SAID: not self.said,
            DRAFTS: self.unsent,
            NOT_GIVEN: self.said and self.given_at is None,
            NO_ONE_THING: not self.one_thing,
            NO_PICTURES: self.being_made or not self.pictures,
            ANSWERED: self.missing == ANSWERED,
        }[what]

    @property
    def place(self) -> Place:
        return self.place_if(self.missing)

    def place_if(self, missing: str) -> Place:
        """Where it would stand if it waited for this: then by running order."""
        return (URGENCY[missing], self.date, self.start_at, self.pk)


_COLUMNS = (
    *("pk", "start_at", "given_at", "entry__clinic_id", "entry__clinic__name"),
    *("entry__clinic__date", "entry__clinic__club_id", "entry__swimmer__name"),
    *("coach_said_at", "swimmer_said_at", "swimmer_said", "feedback_sent_at", "one_thing"),
    *("comment_count", "drafted", "drawn", "written", "has_pictures", "being_made", "holder"),
)


def queue_of(user: User) -> list[Queued]:
    """Passed swims of all clinics of this coach, what is wanted first in front. One query."""
    swims = Swim.objects.coached_by(user).annotate(
        coach_said_at=_last_said(_by_coach(), "sent_at"),
        swimmer_said_at=_last_said(_by_swimmer(), "sent_at"),
        swimmer_said=_last_said(_by_swimmer(), "pk"),
        feedback_sent_at=_last_sent("sent_at"),
        one_thing=_last_sent("one_thing"),
        comment_count=_comment_count(),
        drafted=Exists(_drafts(_standing(), user)),
        drawn=Exists(_drafts(Drawing.objects.filter(swim_id=OuterRef("pk")), user)),
        written=_written(),
        has_pictures=Exists(_clips(Q(state=Clip.State.READY) & ~_still_made())),
        being_made=Exists(_clips(_still_made())),
        holder=_holder(),
    )
    rows = swims.order_by().values_list(*_COLUMNS)
    return sorted((Queued(*row) for row in rows), key=lambda queued: queued.place)


# --- who spoke, and when ------------------------------------------------------------------------


def _by_swimmer() -> Q:
    """A swimmer is known by the user they sign in as; one without has said nothing."""
    return Q(author_id=F("swim__entry__swimmer__user_id"))


def _by_coach() -> Q:
    """Whoever else speaks is a coach. Notes among coaches say nothing to the swimmer."""
    unknown = Q(swim__entry__swimmer__user__isnull=True) | Q(author__isnull=True)
    return (unknown | ~_by_swimmer()) & Q(for_coaches=False)


def _standing() -> QuerySet[Comment]:
    return Comment.objects.filter(swim_id=OuterRef("pk"), taken_back_at__isnull=True)


def _last_said(by: Q, field: str) -> Subquery:
    """Of the last comment by these that was sent and still stands."""
    said = _standing().filter(by, sent_at__isnull=False)
    return Subquery(said.order_by("-sent_at").values(field)[:1])


def _comment_count() -> Subquery:
    """Sent ones, notes among coaches aside; None: none."""
    sent = _standing().filter(sent_at__isnull=False, for_coaches=False)
    return Subquery(sent.order_by().values("swim_id").annotate(n=Count("pk")).values("n"))


def _last_sent(field: str) -> Subquery:
    sent = FeedbackSent.objects.filter(swim_id=OuterRef("pk"))
    return Subquery(sent.order_by("-sent_at").values(field)[:1])


# --- what is written, not sent --------------------------------------------------------------------


def _drafts(rows: QuerySet[Any], user: User) -> QuerySet[Any]:
    return rows.filter(author_id=user.pk, sent_at__isnull=True, for_coaches=False)


def _written() -> Exists:
    """The coaches' common words, changed since they were sent last."""
    words = Feedback.objects.filter(swim_id=OuterRef("pk")).exclude(one_thing="", points=[])
    sent_since = FeedbackSent.objects.filter(
        swim_id=OuterRef("swim_id"), sent_at__gte=OuterRef("updated_at")
    )
    return Exists(words.exclude(Exists(sent_since)))


def _holder() -> Subquery:
    taken = TakenSwim.objects.holding().filter(swim_id=OuterRef("pk"))
    return Subquery(taken.values("coach_id")[:1], output_field=UUIDField())


# --- pictures -------------------------------------------------------------------------------------


def _clips(which: Q) -> QuerySet[Clip]:
    return Clip.objects.filter(which, swim_id=OuterRef("pk"))


def _still_made() -> Q:
    """Not there yet, or made anew and not passed on since (the fence: nobody has looked)."""
    made_anew = Q(state=Clip.State.READY) & (
        Q(rendered_at__isnull=True) | Q(rendered_at__gt=F("swim__passed_at"))
    )
    return Q(state__in=[Clip.State.WAITING, Clip.State.RENDERING]) | made_anew
