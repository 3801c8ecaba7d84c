"""What erasing a swimmer deletes of what was said on the day: that they come late, or wished to go
again. That something was said and is gone stays, so that no phone that sends it once more brings
it back."""

from __future__ import annotations

from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from clinics.compute.time import to_epoch_ms
from clinics.models import DayWish, WishWord
from portal.registry import Found, Person, PersonStep


def _words(person: Person) -> QuerySet[WishWord]:
    return WishWord.objects.filter(entry__swimmer=person.id)


def find_wishes(person: Person) -> Found:
    wishes = DayWish.objects.filter(entry__swimmer=person.id)
    return Found({"day-wishes": wishes.count() + _words(person).filter(gone=False).count()})


@transaction.atomic
def erase_wishes(person: Person) -> None:
    _words(person).update(gone=True, from_at=None, said_ms=to_epoch_ms(timezone.now()))
    DayWish.objects.filter(entry__swimmer=person.id).delete()


STEP = PersonStep(
    name="day-wishes",
    order=65,
    find=find_wishes,
    run=erase_wishes,
    labels={"day-wishes": _("notes of the day: that you come late, or wished to go again")},
)
