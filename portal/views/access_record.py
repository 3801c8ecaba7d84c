"""The access record: who saw, changed, deleted or was refused what, for a club's admins."""

from __future__ import annotations

from urllib.parse import urlencode

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from portal.actions.access_record import Told, entries_of, tell
from portal.csv_out import csv_response
from portal.forms_access import AccessForm
from portal.models import Club
from portal.requests import SignedInRequest
from portal.views.people import club_of

ON_A_PAGE = 100
IN_A_FILE = 20_000


@require_safe
def access_record(request: SignedInRequest, slug: str) -> HttpResponse:
    """Newest first, a page at a time. With `?as=csv` all that is asked for, as a table."""
    club = club_of(request, slug)
    form = AccessForm(request.GET)
    asked = form.asked()
    rows = entries_of(club, asked)
    if request.GET.get("as") == "csv":
        return _as_csv(club, tell(rows[:IN_A_FILE]))
    found = tell(rows[: ON_A_PAGE + 1])
    older = ""
    if len(found) > ON_A_PAGE:
        same = {key: value for key, value in request.GET.items() if key != "before"}
        older = urlencode({**same, "before": found[ON_A_PAGE - 1].seq})
    context = {"of_club": club, "form": form, "told": found[:ON_A_PAGE], "older": older}
    context |= {"newest": asked.before is None}
    return render(request, "portal/access_record.html", context)


def _as_csv(club: Club, told: list[Told]) -> HttpResponse:
    header = ("seq", "at", "who", "what", "about", "action", "detail")
    rows = (
        (one.seq, one.at.isoformat(), one.who, one.what, one.about, one.action, one.detail)
        for one in told
    )
    return csv_response(f"{club.slug}-access.csv", header, rows)
