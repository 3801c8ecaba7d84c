"""What the coaches of a swim write together, and sending it to the swimmer as one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from clinics.actions.give import give_swim
from feedback.actions import draw, say
from feedback.actions.coached import coached_row
from feedback.actions.tell import ask_to_tell
from feedback.models import Comment, Drawing, Feedback, FeedbackSent
from portal.actions.audit import record

if TYPE_CHECKING:
    from clinics.models import Swim
    from portal.models import User

MOST_POINTS = 3


class WrittenMeanwhile(Exception):
    """Somebody kept other words since the page was opened; `kept` has them."""

    def __init__(self, kept: Feedback) -> None:
        super().__init__("the words were changed meanwhile")
        self.kept = kept


class NothingToSend(Exception):
    """Nothing is written, said or drawn that the swimmer does not have."""


def stamp_of(words: Feedback | None) -> str:
    """Which version of the words a page shows; empty: none was kept yet."""
    return words.updated_at.isoformat() if words else ""


@transaction.atomic
def keep_words(
    *, swim: Swim, by: User, one_thing: str, points: Sequence[str], stamp: str
) -> Feedback | None:
    """Keep what a coach wrote in the coaches' common copy. `stamp`: of the version that the
    coach saw. Raises WrittenMeanwhile rather than lose what another coach wrote."""
    row = coached_row(swim, by)
    kept = Feedback.objects.filter(swim=row).first()
    wanted = (one_thing, list(points)[:MOST_POINTS])
    if wanted == ((kept.one_thing, kept.points) if kept else ("", [])):
        return kept
    if kept is not None and stamp_of(kept) != stamp:
        raise WrittenMeanwhile(kept)
    kept = kept or Feedback(swim=row)
    kept.one_thing, kept.points = wanted
    kept.updated_at, kept.updated_by = timezone.now(), by
    kept.save()
    record(action="feedback.keep", by=by, subject=row, club=row.entry.clinic.club)
    return kept


@dataclass(frozen=True)
class Going:
    """What goes to the swimmer when this coach sends now."""

    one_thing: str
    points: tuple[str, ...]
    comments: int  # drafts of this coach; those of others stay with them
    drawings: int
    changed: bool  # the words are not what the swimmer has already
    gives: bool  # the swimmer gets the pictures with it

    @property
    def anything(self) -> bool:
        return bool(self.changed or self.comments or self.drawings)


def what_goes(swim: Swim, by: User) -> Going:
    words = Feedback.objects.filter(swim=swim).first() or Feedback(swim=swim)
    sent = FeedbackSent.objects.filter(swim=swim).order_by("-sent_at").first()
    has = (sent.one_thing, sent.points) if sent else ("", [])
    drafts = {"swim": swim, "author": by, "sent_at__isnull": True, "for_coaches": False}
    return Going(
        one_thing=words.one_thing,
        points=tuple(words.points),
        comments=Comment.objects.filter(**drafts).count(),
        drawings=Drawing.objects.filter(**drafts).count(),
        changed=(words.one_thing, words.points) != has,
        gives=swim.given_at is None,
    )


@transaction.atomic
def send_feedback(*, swim: Swim, by: User, stamp: str | None = None) -> FeedbackSent:
    """Send the words and the coach's drafts as one; the swimmer gets the pictures with them
    if they were not given yet. `stamp`: of the words that the coach was shown before; raises
    WrittenMeanwhile when these are others now. Raises NothingToSend."""
    row = coached_row(swim, by)
    kept = Feedback.objects.filter(swim=row).first()
    if kept is not None and stamp not in (None, stamp_of(kept)):
        raise WrittenMeanwhile(kept)
    going = what_goes(row, by)
    if not going.anything:
        raise NothingToSend
    sent = FeedbackSent.objects.create(
        swim=row, one_thing=going.one_thing, points=list(going.points), sent_by=by
    )
    detail = {
        "comments": say.send_drafts(swim=row, by=by),
        "drawings": draw.send_drafts(swim=row, by=by),
        "points": len(going.points),
        "one_thing": bool(going.one_thing),
    }
    record(action="feedback.send", by=by, subject=row, club=row.entry.clinic.club, detail=detail)
    if going.gives:
        give_swim(swim=row, by=by)  # writes the mail that leads to all of it
    ask_to_tell(swim=row, by=by)
    return sent
