"""The page that a swimmer takes home from one swim: what its coaches put on it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from clinics.models import Swim
from feedback import privacy

if TYPE_CHECKING:
    from portal.models import User


class TakeHomeQuerySet(models.QuerySet["TakeHome"]):
    def visible_to(self, user: User) -> TakeHomeQuerySet:
        """The swimmer's own, once it is given and while it is not taken back; the coaches' of the
        swim before that, too. Gone when the swim turns out to be another's."""
        own = Q(swim__entry__swimmer__user_id=getattr(user, "pk", None), given_at__isnull=False)
        coached = Q(swim__in=Swim.objects.all().coached_by(user).values("pk"))
        same = Q(entry_id=F("swim__entry_id"))
        rows: TakeHomeQuerySet = privacy.on_visible_swims(self, user)  # type: ignore[assignment]
        return rows.filter(same, own | coached)


class TakeHome(models.Model):
    """`choice`: what the coaches put together; `given`: what of it the swimmer has, null: nothing.
    Both as feedback/compute/take_home.py says: which measures, stills and earlier swim. Numbers
    are worked out when the page is read. `sent`: the words as they were when it was given. `entry`
    is who swam as was known then."""

    swim = models.OneToOneField(
        "clinics.Swim", models.CASCADE, primary_key=True, related_name="take_home"
    )
    entry = models.ForeignKey("clinics.Entry", models.CASCADE, related_name="+")
    choice = models.JSONField(default=dict)
    changed_at = models.DateTimeField(default=timezone.now)
    changed_by = models.ForeignKey("portal.User", models.SET_NULL, null=True, related_name="+")
    given = models.JSONField(null=True)
    sent = models.ForeignKey("feedback.FeedbackSent", models.SET_NULL, null=True, related_name="+")
    given_at = models.DateTimeField(null=True)
    given_by = models.ForeignKey("portal.User", models.SET_NULL, null=True, related_name="+")
    taken_back_at = models.DateTimeField(null=True)
    told_at = models.DateTimeField(null=True)  # when mail about it was written, or needed none

    objects = TakeHomeQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(given__isnull=True, given_at__isnull=True)
                | Q(given__isnull=False, given_at__isnull=False),
                name="take_home_given_whole",
            )
        ]
