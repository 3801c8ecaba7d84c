"""What is new on a swim since the last mail about it, and who is to know."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

from django.db.models import Q, QuerySet

from clinics.models import Swim
from feedback.models import Comment, FeedbackSent, LastLooked, TakeHome
from feedback.privacy import coaches_of
from portal.models import User


@dataclass(eq=False)
class News:
    """Comments, sent feedback and a given take-home page that nobody was told of yet, all
    locked."""

    swim: Swim
    comments: list[Comment] = field(default_factory=list)
    feedback: list[FeedbackSent] = field(default_factory=list)
    pages: list[TakeHome] = field(default_factory=list)

    @cached_property
    def swimmer(self) -> User | None:
        return self.swim.entry.swimmer.user

    @cached_property
    def people(self) -> list[User]:
        """What a coach says goes to the swimmer; what the swimmer says and notes among coaches
        to the coaches concerned."""
        people = self._who_has_not_looked([self.swimmer] if self.swimmer else [], self._to_swimmer)
        for words in (self._by_swimmer, self._notes):
            if words:
                people += [p for p in self._coaches_for(words) if p not in people]
        return people

    @property
    def _to_swimmer(self) -> list[dt.datetime]:
        """When: after the swim was given, since that mail leads to what was there before."""
        given_at = self.swim.given_at
        if self.swimmer is None or given_at is None:
            return []
        said = [c.sent_at for c in self.comments if not c.for_coaches and not self._own(c)]
        sent = [one.sent_at for one in self.feedback if one.sent_by_id != self.swimmer.pk]
        given = [one.given_at for one in self.pages if one.given_by_id != self.swimmer.pk]
        return [at for at in (*said, *sent, *given) if at is not None and at > given_at]

    @property
    def _by_swimmer(self) -> list[Comment]:
        return [c for c in self.comments if self._own(c)]

    @property
    def _notes(self) -> list[Comment]:
        return [c for c in self.comments if c.for_coaches]

    def _own(self, comment: Comment) -> bool:
        return self.swimmer is not None and comment.author_id == self.swimmer.pk

    def _coaches_for(self, words: list[Comment]) -> list[User]:
        """The coaches who spoke on the swim, wrote for it, took it or gave it; if none of these
        may see it any more, all coaches of the clinic. Nobody is told of their own words alone."""
        coaches = coaches_of(self.swim.entry.clinic)
        if self.swimmer is not None:
            coaches = coaches.exclude(pk=self.swimmer.pk)
        for people in (coaches.filter(self._concerned()).distinct(), coaches):
            seeing = self._who_may_see(p for p in people if _words_for(p, words))
            if seeing:
                return [p for p in seeing if not self._looked_since(p, _words_for(p, words))]
        return []

    def _concerned(self) -> Q:
        swim = self.swim
        spoke = Comment.objects.filter(swim=swim, sent_at__isnull=False).values("author")
        wrote = FeedbackSent.objects.filter(swim=swim).values("sent_by")
        took = Q(taken_swims__swim=swim)
        gave = Q(pk=swim.given_by_id)
        return Q(pk__in=spoke) | Q(pk__in=wrote) | took | gave

    def _who_has_not_looked(self, people: list[User], at: list[dt.datetime]) -> list[User]:
        if not at:
            return []
        return [p for p in self._who_may_see(people) if not self._looked_since(p, at)]

    def _who_may_see(self, people: Iterable[User]) -> list[User]:
        swims = Swim.objects.filter(pk=self.swim.pk)
        return [p for p in people if swims.reviewed_by(p).exists()]  # type: ignore[attr-defined]

    def _looked_since(self, person: User, at: list[dt.datetime]) -> bool:
        looked = LastLooked.objects.filter(user=person, swim=self.swim)
        return looked.filter(at__gte=max(at)).exists()


def _words_for(person: User, words: list[Comment]) -> list[dt.datetime]:
    return [c.sent_at for c in words if c.sent_at is not None and c.author_id != person.pk]


def news_of(pk: Any) -> News:
    """Reads and locks; to be asked inside a transaction. Another run that waited for the lock
    finds what was told meanwhile no more."""
    swim = Swim.objects.select_related("entry__clinic", "entry__swimmer__user").get(pk=pk)
    return News(
        swim=swim,
        comments=list(_untold(Comment.objects.filter(swim=swim))),
        feedback=list(_untold(FeedbackSent.objects.filter(swim=swim))),
        pages=list(_untold(TakeHome.objects.filter(swim=swim), "given_at")),
    )


def _untold(rows: QuerySet[Any], sent_at: str = "sent_at") -> QuerySet[Any]:
    new = rows.filter(told_at__isnull=True, **{f"{sent_at}__isnull": False}).order_by("pk")
    return new.select_for_update(of=("self",))
