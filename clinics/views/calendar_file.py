"""The signed-in volunteer's calendar file of a clinic."""

from __future__ import annotations

import uuid

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.http import content_disposition_header
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from clinics.actions.calendar_file import DueDay, Words, calendar_of
from clinics.actions.tasks import roles_of, tasks_of
from clinics.compute.posts import Post
from clinics.compute.tasks_ahead import Role, State
from clinics.models import Clinic, PoolHour
from clinics.views.papers_told import duty_told
from clinics.views.who import me
from clinics.views.words import said
from portal.models import User


@never_cache
@require_safe
def calendar_file(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    clinics = Clinic.objects.visible_to(me(request)).select_related("club")
    clinic = get_object_or_404(clinics, pk=pk)
    hour = PoolHour.objects.select_related("clinic").filter(clinic=clinic).first()
    with timezone.override(clinic.zone):
        content = calendar_of(
            clinic=clinic,
            hour=hour,
            user=me(request),
            due=_due(clinic, me(request)),
            words=_words(clinic, hour, me(request)),
            page=request.build_absolute_uri(reverse("clinics:clinic", args=[clinic.pk])),
            now=timezone.now(),
        )
    disposition = content_disposition_header(as_attachment=True, filename=f"{clinic.slug}.ics")
    headers = {"Content-Disposition": disposition, "Cache-Control": "private, no-store"}
    return HttpResponse(content, content_type="text/calendar; charset=utf-8", headers=headers)


def _due(clinic: Clinic, user: User) -> list[DueDay]:
    """Open tasks that are theirs: an admin's are the admins', though they may tick all."""
    roles = roles_of(clinic, user)
    mine = {Role.ADMIN} | _own(clinic, user) if Role.ADMIN in roles else roles
    return [
        DueDay(line.key, _due_told(clinic, said(line.due.task.words)), line.due.day)
        for line in tasks_of(clinic)
        if line.due.state is not State.DONE and line.due.task.for_role in mine
    ]


def _due_told(clinic: Clinic, what: str) -> str:
    return _("%(what)s (%(clinic)s)") % {"what": what, "clinic": clinic.name}


def _own(clinic: Clinic, user: User) -> frozenset[Role]:
    worked = Clinic.objects.worked_by(user).filter(pk=clinic.pk).exists()
    checked = Clinic.objects.checked_by(user).filter(pk=clinic.pk).exists()
    held = ((Role.CREW, worked), (Role.CHECKER, checked))
    return frozenset(role for role, holds in held if holds)


def _words(clinic: Clinic, hour: PoolHour | None, user: User) -> Words:
    duties = list(clinic.duties.filter(user=user).select_related("station"))
    duties.sort(key=lambda duty: list(Post).index(Post(duty.kind)))
    posts = [duty_told(duty) for duty in duties]
    about = [clinic.club.name]
    if posts:
        about.append(_("You: %(posts)s.") % {"posts": ", ".join(posts)})
    else:
        about.append(_("You have no post yet."))
    if hour:
        told = _("The pool is ours from %(at)s for %(minutes)d minutes; come earlier to set up.")
        at = date_format(hour.begins_at, "H:i")
        about.append(told % {"at": at, "minutes": hour.minutes})
    else:
        about.append(_("The pool hour is not planned yet; take this file again later."))
    about.append(_("Where the plan and the pool’s operator differ, the operator is right."))
    named = {"clinic": clinic.name}
    return Words(
        title=_("%(clinic)s, pool hour") % named if hour else clinic.name,
        about="\n".join(about),
        begins_soon=_("%(clinic)s: pack the kit, charge the batteries, empty the cards") % named,
    )
