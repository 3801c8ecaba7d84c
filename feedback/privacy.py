"""Who reads what is said about a swim: the swimmer and the coaches who may see it
(`Swim.reviewed_by`). Whoever sees the film alone, as the other swimmers of the clinic do, reads
nothing. Drafts: their author. Notes among coaches: the coaches, never the swimmer. The same for
what is drawn, marked, written as feedback and made to take along.

Who says something: the coaches of the clinic and the swimmer. Checkers look, and say nothing.

What is said stays with the pictures when a checker finds out that they show somebody else. The
swimmer whose swim it turns out to be does not read what the other one wrote there, nor what
was answered to it; the coaches do.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.db.models import Count, Exists, F, OuterRef, Q, QuerySet
from django.utils import timezone

from clinics.models import Clip, Entry, Swim
from clinics.privacy import held_by_part
from portal.models import Membership, User

if TYPE_CHECKING:
    from clinics.models import Clinic


def on_visible_swims(rows: QuerySet[Any], user: User) -> QuerySet[Any]:
    """Rows with a `swim` that the user may see with what is said about it."""
    return rows.filter(swim__in=Swim.objects.all().reviewed_by(user).values("pk"))


def on_coached_swims(rows: QuerySet[Any], user: User) -> QuerySet[Any]:
    """Rows with a `swim` that was passed on to the user as a coach of its clinic."""
    return rows.filter(swim__in=Swim.objects.all().coached_by(user).values("pk"))


def comments_visible_to(comments: QuerySet[Any], user: User) -> QuerySet[Any]:
    return _said_and_drawn(comments, user, also_by="reply_to__")


def drawings_visible_to(drawings: QuerySet[Any], user: User) -> QuerySet[Any]:
    return _said_and_drawn(drawings, user)


def drawn_for_swimmer(drawings: QuerySet[Any]) -> QuerySet[Any]:
    """What was sent to whoever swam, with an account or without: as it may stand in what is made
    for them. Nothing among coaches, nothing by who was taken for the swimmer before."""
    sent = drawings.filter(sent_at__isnull=False, for_coaches=False)
    return sent.filter(~_by_another_swimmer(""))


def marks_visible_to(marks: QuerySet[Any], user: User) -> QuerySet[Any]:
    return on_visible_swims(marks, user)


def _said_and_drawn(rows: QuerySet[Any], user: User, *, also_by: str = "") -> QuerySet[Any]:
    own = Q(author_id=getattr(user, "pk", None))
    mine_or_sent = Q(sent_at__isnull=False) | own
    to_another = _by_another_swimmer("")
    if also_by:
        to_another |= _by_another_swimmer(also_by)
    is_swimmer = Q(swim__entry__swimmer__user_id=getattr(user, "pk", None))
    found = on_visible_swims(rows, user).filter(mine_or_sent)
    found = found.filter(own | ~is_swimmer | ~to_another)
    return found.exclude(Q(for_coaches=True) & is_swimmer)


def take_along_visible_to(rows: QuerySet[Any], user: User) -> QuerySet[Any]:
    """Asked for by the user, or made for them; and every clip that can be seen in it is still
    there, visible to the user, and the one that was on screen when it was asked for (in a clip
    that was made again the frames are others); and it is still the swim of the same person."""
    theirs = Q(asked_by_id=getattr(user, "pk", None)) | Q(
        for_swimmer=True, swim__entry__swimmer__user_id=getattr(user, "pk", None)
    )
    return _take_along_in_sight(rows, user).filter(theirs)


def stills_for_page_visible_to(rows: QuerySet[Any], user: User) -> QuerySet[Any]:
    """What any coach had made for the swimmer: for the swimmer, and for all coaches of the swim,
    who put the take-home page together. It holds nothing that was not sent to the swimmer."""
    return _take_along_in_sight(rows, user).filter(for_swimmer=True)


def _take_along_in_sight(rows: QuerySet[Any], user: User) -> QuerySet[Any]:
    seen = Clip.objects.all().visible_to(user).values("pk")
    shown = rows.model.clips.through.objects.filter(takealong_id=OuterRef("pk"))
    unseen = shown.exclude(clip_id__in=seen, clip__swim_id=OuterRef("swim_id"))
    made_again = shown.filter(clip__rendered_at__gt=OuterRef("created_at"))
    due = Q(stored__isnull=False, stored__delete_by__lte=timezone.now())
    return (
        on_visible_swims(rows, user)
        .annotate(clips_there=Count("clips"))
        .filter(~Exists(unseen) & ~Exists(made_again))
        .filter(clips_there=F("clip_count"), entry_id=F("swim__entry_id"))
        .exclude(due)
        .exclude(held_by_part(StoredFile="stored_id"))
    )


def _by_another_swimmer(path: str) -> Q:
    """The author swam in the clinic, coaches nobody there, and it is not their swim. `path` leads
    from the comment to the one that is meant."""
    swam = Entry.objects.filter(
        clinic_id=OuterRef("swim__entry__clinic_id"), swimmer__user_id=OuterRef(f"{path}author_id")
    )
    coaching = Membership.objects.filter(
        role=Membership.Role.COACH,
        club_id=OuterRef("swim__entry__clinic__club_id"),
        user_id=OuterRef(f"{path}author_id"),
    )
    elsewhere = swam.exclude(swimmer_id=OuterRef("swim__entry__swimmer_id"))
    here = swam.filter(swimmer_id=OuterRef("swim__entry__swimmer_id"))
    return Q(Exists(elsewhere)) & ~Q(Exists(here)) & ~Q(Exists(coaching))


def coaches_of(clinic: Clinic) -> QuerySet[User]:
    """Who coaches the clinic today: as the fence asks it of one person, here for all of them."""
    coaching = Membership.objects.current().filter(role=Membership.Role.COACH, club=clinic.club_id)
    then = Q(until_date__isnull=True) | Q(until_date__gte=clinic.date)
    on_that_day = coaching.filter(then, from_date__lte=clinic.date)
    people = User.objects.filter(is_active=True, pk__in=on_that_day.values("user_id"))
    return people.order_by("name", "email")


def by_who_still_coaches(taken: QuerySet[Any]) -> QuerySet[Any]:
    """Of the swims that were taken: those whose coach still coaches the clinic. Somebody taken
    off the club holds nothing any more."""
    clinic = "swim__entry__clinic__"
    day = OuterRef(f"{clinic}date")
    coaching = Membership.objects.current().filter(
        Q(until_date__isnull=True) | Q(until_date__gte=day),
        role=Membership.Role.COACH,
        from_date__lte=day,
        club_id=OuterRef(f"{clinic}club_id"),
        user_id=OuterRef("coach_id"),
    )
    return taken.filter(Exists(coaching), coach__is_active=True)


def is_own(user: User, swim: Swim) -> bool:
    """The user is the swimmer. Asks for the swim's entry and swimmer."""
    return swim.entry.swimmer.user_id == user.pk


def coaches(user: User, swim: Swim) -> bool:
    """The swim was passed on to the user as a coach of its clinic. One query."""
    return Swim.objects.coached_by(user).filter(pk=swim.pk).exists()
