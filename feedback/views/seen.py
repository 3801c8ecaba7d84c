"""Who has seen my swims: for the swimmer, as it stands in the access record."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from clinics.models import Swim
from feedback.actions.seen import seen_by_others
from portal.requests import SignedInRequest

ON_A_PAGE = 100


@require_safe
def seen(request: SignedInRequest) -> HttpResponse:
    """Of the swims that the user sees as theirs; newest first, a page at a time."""
    own = Swim.objects.visible_to(request.user).filter(entry__swimmer__user=request.user)
    swims = list(own.select_related("entry__swimmer", "entry__clinic"))
    before = _number(request.GET.get("before", ""))
    rows = seen_by_others(swims=swims, user=request.user, at_most=ON_A_PAGE + 1, before=before)
    context = {
        "rows": rows[:ON_A_PAGE],
        "older": rows[ON_A_PAGE - 1].seq if len(rows) > ON_A_PAGE else None,
        "newest": before is None,
        "several": len({swim.entry.swimmer_id for swim in swims}) > 1,
    }
    return render(request, "feedback/seen.html", context)


def _number(text: str) -> int | None:
    return int(text) if text.isascii() and text.isdigit() and len(text) < 16 else None
