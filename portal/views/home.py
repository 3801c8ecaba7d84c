"""Each person lands on what needs doing next."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_safe

from portal.registry import navigation
from portal.requests import SignedInRequest


@require_safe
def home(request: SignedInRequest) -> HttpResponse:
    for entry in sorted(navigation.all(), key=lambda e: e.order):
        if (entry.landing or entry.shown_to)(request):
            return redirect(entry.url_name)
    return render(request, "portal/nothing_yet.html")
