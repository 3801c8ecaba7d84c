"""The page that a swimmer takes home: choosing what is on it, giving it, taking it back.

What is kept is the choice alone. Numbers are worked out from the marks when the page is read, so
that a better clock fit improves them; the words are those that had been sent when it was given.
"""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from django.db import transaction
from django.db.models import Exists, F, OuterRef
from django.utils import timezone

from clinics.actions.give import give_swim
from feedback.actions.coached import coached_row
from feedback.actions.comparable import same_person
from feedback.actions.progress import swims_of_same_person
from feedback.actions.tell import ask_to_tell
from feedback.compute.take_home import Choice, choice_of
from feedback.models import FeedbackSent, Mark, TakeHome
from portal.actions.audit import record
from portal.actions.ledger import note_withdrawn

if TYPE_CHECKING:
    from clinics.models import Swim
    from portal.models import User


class NothingToGive(Exception):
    """No words were sent, and neither a measure nor a still is chosen."""


def words_sent(swim: Swim) -> FeedbackSent | None:
    """The newest words that the swimmer got, if they say anything."""
    sent = FeedbackSent.objects.filter(swim=swim).select_related("sent_by").order_by("-sent_at")
    newest = sent.first()
    return newest if newest is not None and (newest.one_thing or newest.points) else None


def page_row(swim: Swim) -> TakeHome | None:
    """What stands there for who swam as is known now."""
    rows = TakeHome.objects.filter(swim=swim, entry_id=F("swim__entry_id"))
    return rows.select_related("given_by", "sent__sent_by").first()


def swim_before(swim: Swim, user: User) -> Swim | None:
    """Last time's swim to compare with: given, marked, and swum alike (the same stroke, start and
    course). Of another clinic if there is one, else the go before."""
    entry = swim.entry
    earlier = swims_of_same_person(swim, user).filter(
        Exists(Mark.objects.filter(swim=OuterRef("pk"))),
        start_at__lt=swim.start_at,
        given_at__isnull=False,
        entry__stroke=entry.stroke,
        entry__start=entry.start,
        entry__clinic__course_m=entry.clinic.course_m,
    )
    found = [one for one in earlier if same_person(one, swim)]  # the newest first
    elsewhere = [one for one in found if one.entry.clinic_id != entry.clinic_id]
    return next(iter(elsewhere or found), None)


@transaction.atomic
def keep_choice(*, swim: Swim, by: User, choice: Choice) -> TakeHome:
    """What the coaches put on the page; the swimmer gets it when it is given. The same again
    changes nothing."""
    row = coached_row(swim, by)
    return _kept(row, by, choice)


def _kept(swim: Swim, by: User, choice: Choice) -> TakeHome:
    TakeHome.objects.filter(swim=swim).exclude(entry=swim.entry_id).delete()  # somebody else's
    page = TakeHome.objects.filter(swim=swim).first()
    if page is not None and choice_of(page.choice) == choice:
        return page
    page = page or TakeHome(swim=swim, entry=swim.entry)
    page.choice, page.changed_at, page.changed_by = choice.to_json(), timezone.now(), by
    page.save()
    record(action="take-home.choose", by=by, subject=swim, club=swim.entry.clinic.club)
    return page


@transaction.atomic
def give_page(*, swim: Swim, by: User, choice: Choice) -> TakeHome:
    """Give the swimmer the page as chosen, with the newest words that were sent; and the pictures,
    if they were not given yet. The same again changes nothing. Raises NothingToGive."""
    row = coached_row(swim, by)
    sent = words_sent(row)
    if sent is None and not choice.measures and not choice.stills:
        raise NothingToGive
    page = _kept(row, by, choice)
    if page.given == choice.to_json() and page.sent_id == (sent and sent.pk):
        return page
    page.given, page.sent = choice.to_json(), sent
    page.given_at, page.given_by = timezone.now(), by
    page.taken_back_at = page.told_at = None
    page.save()
    detail = {
        "measures": len(choice.measures),
        "stills": len(choice.stills),
        "words": str(sent.pk) if sent else None,
        "compared": choice.before or None,
    }
    club = row.entry.clinic.club
    record(action="take-home.give", by=by, subject=row, club=club, detail=detail)
    if row.given_at is None:
        give_swim(swim=row, by=by)  # writes the mail that leads to all of it
    ask_to_tell(swim=row, by=by)
    return page


@transaction.atomic
def take_page_back(*, swim: Swim, by: User) -> None:
    """The swimmer has it no more; the choice stays. Done twice it is noted once."""
    row = coached_row(swim, by)
    page = TakeHome.objects.filter(swim=row, given_at__isnull=False).first()
    if page is None:
        return
    note_withdrawn(TakeHome._meta.label, page.pk, "")
    page_goes(page, timezone.now())
    record(action="take-home.take-back", by=by, subject=row, club=row.entry.clinic.club)


def page_goes(page: TakeHome, at: dt.datetime) -> None:
    """Of a page that is taken back, without noting it."""
    page.given = page.given_at = page.given_by = page.sent = None
    page.taken_back_at = at
    page.save()
