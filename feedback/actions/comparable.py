"""Which swims can stand beside a swim: last time's of the same person, and all that may be seen.

Only what the fence lets through is looked at; nothing here says that anything else exists.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from django.db.models import Exists, OuterRef, Q, QuerySet

from clinics.models import Clip, Swim

if TYPE_CHECKING:
    from portal.models import User

AT_MOST = 20


def watchable(user: User) -> QuerySet[Swim]:
    """Swims that the user reviews, and of which there is a picture to see."""
    clips = Clip.objects.visible_to(user).filter(swim_id=OuterRef("pk"))
    swims = Swim.objects.reviewed_by(user).filter(Exists(clips))
    return swims.select_related("entry__swimmer", "entry__clinic__club")


def same_person(swim: Swim, other: Swim) -> bool:
    """The same swimmer; or one of the same account at another club, by the same name: a couple
    may share an account."""
    one, two = swim.entry.swimmer, other.entry.swimmer
    joined = one.user_id is not None and one.user_id == two.user_id
    return one.pk == two.pk or (joined and one.name.casefold() == two.name.casefold())


def last_time(swim: Swim, swims: Iterable[Swim]) -> Swim | None:
    """Of these, the newest earlier swim of the same person: of the same stroke if there is one.
    Asks nothing if entries and swimmers are there."""
    earlier = [one for one in swims if one.start_at < swim.start_at and same_person(one, swim)]
    stroke = swim.entry.stroke
    return max(earlier, key=lambda one: (one.entry.stroke == stroke, one.start_at), default=None)


def before(swim: Swim, user: User) -> Swim | None:
    """Last time's swim, if there is one that the user may see. One query."""
    swimmer = swim.entry.swimmer
    person = Q(entry__swimmer=swimmer)
    if swimmer.user_id is not None:
        person |= Q(entry__swimmer__user_id=swimmer.user_id)
    return last_time(swim, watchable(user).filter(person, start_at__lt=swim.start_at))


def others(swim: Swim, user: User, name: str = "") -> list[Swim]:
    """What else can stand beside it, the same person's first, then the newest; by name."""
    swims = watchable(user).exclude(pk=swim.pk)
    if name:
        swims = swims.filter(entry__swimmer__name__icontains=name)
    own = swims.filter(entry__swimmer=swim.entry.swimmer).order_by("-start_at")
    rest = swims.exclude(entry__swimmer=swim.entry.swimmer).order_by("-start_at")
    found = [*own[:AT_MOST], *rest[:AT_MOST]]
    return found[:AT_MOST]
