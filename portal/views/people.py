"""Who works for a club, for its admins."""

from __future__ import annotations

import uuid

from django.contrib import messages
from django.db.models import QuerySet
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from portal.actions.people import NotPossible, end_membership, invite
from portal.csv_out import csv_response
from portal.forms import InviteForm
from portal.models import Club, Membership
from portal.requests import SignedInRequest
from portal.shell import memberships_of
from portal.views.sign_in import see_other


def _clubs_run_by(request: SignedInRequest) -> list[Club]:
    admin = Membership.Role.ADMIN
    return [m.club for m in memberships_of(request) if m.role == admin]


def club_of(request: SignedInRequest, slug: str) -> Club:
    run = Club.objects.filter(pk__in=[club.pk for club in _clubs_run_by(request)])
    return get_object_or_404(run, slug=slug)


@require_safe
def my_clubs(request: SignedInRequest) -> HttpResponse:
    """To the people of the one club; a choice for who runs several."""
    clubs = _clubs_run_by(request)
    if len(clubs) == 1:
        return see_other(reverse("portal:people", args=[clubs[0].slug]))
    get_object_or_404(Club.objects.filter(pk__in=[club.pk for club in clubs])[:1])
    return render(request, "portal/my_clubs.html", {"clubs": clubs})


@require_http_methods(["GET", "HEAD", "POST"])
def people(request: SignedInRequest, slug: str) -> HttpResponse:
    club = club_of(request, slug)
    form = InviteForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            membership = invite(club=club, by=request.user, **form.cleaned_data)
        except NotPossible as reason:
            form.add_error(None, str(reason))
        else:
            sentence = _("%(who)s is invited. The mail is on its way.")
            messages.success(request, sentence % {"who": membership.user})
            return see_other(reverse("portal:people", args=[club.slug]))
    memberships = club.memberships.select_related("user").order_by("user__name", "user__email")
    if request.method == "GET" and request.GET.get("as") == "csv":
        return _as_table(club, memberships)
    today = timezone.localdate()
    past = [m for m in memberships if m.until_date and m.until_date < today]
    context = {
        "of_club": club,
        "form": form,
        "memberships": [m for m in memberships if m not in past],
        "past": past,
        "today": today,
    }
    return render(request, "portal/people.html", context, status=422 if form.errors else 200)


def _as_table(club: Club, memberships: QuerySet[Membership]) -> HttpResponse:
    """Ended ones, too: who could see what at which time is asked later."""
    rows = [
        (m.user.name, m.user.email, m.get_role_display(), m.from_date, m.until_date)
        for m in memberships
    ]
    header = [_("name"), _("e-mail"), _("Role"), _("From"), _("Until")]
    return csv_response(f"{club.slug}-people.csv", header, rows)


@require_POST
def end(request: SignedInRequest, slug: str, pk: uuid.UUID) -> HttpResponse:
    club = club_of(request, slug)
    membership = get_object_or_404(club.memberships.all(), pk=pk)
    try:
        end_membership(membership=membership, by=request.user)
    except NotPossible as reason:
        messages.error(request, str(reason))
    else:
        messages.success(request, _("Ended. What they may see ended with it."))
    return see_other(reverse("portal:people", args=[club.slug]))
