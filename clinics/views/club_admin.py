"""The club whose admin the user is; anything else is 404."""

from __future__ import annotations

from django.http import HttpRequest
from django.shortcuts import get_object_or_404

from clinics.views.who import me
from portal.models import Club, Membership


def club_run_by(request: HttpRequest, slug: str) -> Club:
    admin = Membership.objects.current().filter(user=me(request), role=Membership.Role.ADMIN)
    return get_object_or_404(Club.objects.filter(pk__in=admin.values("club_id")), slug=slug)
