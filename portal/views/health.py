"""Is the site doing its work? A page for those who run it, and a word for monitors."""

from __future__ import annotations

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from portal.actions.health import look_over
from portal.models import Membership
from portal.requests import SignedInRequest


@require_safe
def health(request: SignedInRequest) -> HttpResponse:
    """Every check with what it found; for people who work for a club."""
    if not Membership.objects.current().filter(user=request.user).exists():
        raise Http404
    reports = look_over()
    well = all(report.finding.ok for report in reports)
    return render(request, "portal/health.html", {"reports": reports, "well": well})


@require_safe
def live(request: HttpRequest) -> HttpResponse:
    """The web process answers; nothing else is said to anyone."""
    return HttpResponse("ok", content_type="text/plain")
