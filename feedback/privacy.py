"""Who reads what is said about a swim: those who may see the swim. Drafts: their author.

Who says something: the coaches of the clinic and the swimmer. Checkers look, and say nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.db.models import Q, QuerySet

from clinics.models import Swim

if TYPE_CHECKING:
    from portal.models import User


def comments_visible_to(comments: QuerySet[Any], user: User) -> QuerySet[Any]:
    swims = Swim.objects.all().visible_to(user)
    mine_or_sent = Q(sent_at__isnull=False) | Q(author_id=getattr(user, "pk", None))
    return comments.filter(mine_or_sent, swim__in=swims.values("pk"))


def is_own(user: User, swim: Swim) -> bool:
    """The user is the swimmer. Asks for the swim's entry and swimmer."""
    return swim.entry.swimmer.user_id == user.pk


def coaches(user: User, swim: Swim) -> bool:
    """The swim was passed on to the user as a coach of its clinic. One query."""
    return Swim.objects.coached_by(user).filter(pk=swim.pk).exists()
