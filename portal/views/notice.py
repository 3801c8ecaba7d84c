"""What the site does with people's data (trust 27)."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from portal.requests import SignedInRequest
from portal.shell import clubs_of


@require_safe
def notice(request: SignedInRequest) -> HttpResponse:
    """Open to anyone. Names the clubs to ask only to people who belong to them."""
    clubs = clubs_of(request) if request.user.is_authenticated else []
    return render(request, "portal/notice.html", {"controllers": clubs})
