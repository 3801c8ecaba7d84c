"""What the site does with people's data."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from portal.actions.notice import told
from portal.requests import SignedInRequest
from portal.shell import footage_clubs_of, memberships_of


@require_safe
def notice(request: SignedInRequest) -> HttpResponse:
    """Open to anyone. Names the clubs to ask only to people who belong to them."""
    clubs = {}
    if request.user.is_authenticated:
        clubs = {m.club_id: m.club for m in memberships_of(request)}
        clubs |= {club.pk: club for club in footage_clubs_of(request)}
    return render(request, "portal/notice.html", told(list(clubs.values())))
