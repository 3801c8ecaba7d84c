"""Who reads what is said about a swim: those who may see the swim. Drafts: their author."""

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
