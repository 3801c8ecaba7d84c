"""What a club's admins and checkers decide about showing on: minors, and clips for anyone.
What waits stands first."""

from __future__ import annotations

import uuid

from django.contrib import messages
from django.db.models import F
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from clinics.actions import publish
from clinics.models import Clinic, MinorReport
from clinics.views.who import me
from portal.models import Club
from portal.pages import page_of


@require_safe
def showing(request: HttpRequest, slug: str) -> HttpResponse:
    user = me(request)
    checked = Clinic.objects.checked_by(user)
    admins = Club.objects.filter(memberships__in=user.memberships.current().filter(role="admin"))
    clubs = admins | Club.objects.filter(pk__in=checked.values("club_id"))
    club = get_object_or_404(clubs.distinct(), slug=slug)
    reports = MinorReport.objects.looked_into_by(user).filter(clip__swim__entry__clinic__club=club)
    reports = reports.select_related(
        "clip__swim__entry__clinic", "clip__swim__entry__swimmer", "clip__station"
    ).order_by(F("resolved_at").desc(nulls_first=True), "-reported_at", "pk")
    wanted = publish.asked_of(user).filter(clip__swim__entry__clinic__club=club)
    wanted = wanted.order_by(F("admin_said_at").desc(nulls_first=True), "-swimmer_said_at", "pk")
    context = {
        "club": club,
        "reports": page_of(reports, request.GET, name="reports"),
        "publications": page_of(wanted, request.GET, name="clips"),
        "runs": admins.filter(pk=club.pk).exists(),
    }
    return render(request, "clinics/showing.html", context)


@require_POST
def publication_agree(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    row = get_object_or_404(publish.asked_of(me(request)), pk=pk)
    publish.say_as_admin(publication=row, by=me(request))
    messages.success(
        request,
        _("You said yes. Anyone sees it as long as everybody in the clip agrees to that."),
    )
    return redirect("clinics:showing", slug=row.clip.swim.entry.clinic.club.slug)


@require_POST
def publication_refuse(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    row = get_object_or_404(publish.asked_of(me(request)), pk=pk)
    publish.end(publication=row, by=me(request))
    messages.success(request, _("It is not published."))
    return redirect("clinics:showing", slug=row.clip.swim.entry.clinic.club.slug)
