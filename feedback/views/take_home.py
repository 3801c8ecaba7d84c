"""The page that a swimmer takes home: for its swimmer once it is given; for the swim's coaches as
the swimmer has it, else as it would be given now. On screen and as PDF."""

from __future__ import annotations

import uuid
from functools import cache
from typing import Any

from django.http import Http404, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.cache import cache_control
from django.views.decorators.http import require_safe

from clinics.actions.access import note_once
from clinics.models import Swim
from feedback.actions.take_home import words_sent
from feedback.actions.take_home_stills import stills_of
from feedback.compute.take_home import choice_of
from feedback.models import TakeAlong, TakeHome
from feedback.privacy import is_own
from feedback.views.coaching import coaches_here
from feedback.views.take_home_page import (
    Page,
    choice_now,
    known_of,
    page_before_giving,
    page_given,
)
from feedback.views.take_home_pdf import take_home_as_pdf
from portal.requests import SignedInRequest
from portal.shell import stands_under
from portal.views.serve_file import serve_file

OK = 200
WITH_IT = ("entry__swimmer", "entry__clinic__club")
private = cache_control(private=True, no_store=True)


def row_for(swim: Swim, request: SignedInRequest) -> TakeHome | None:
    rows = TakeHome.objects.visible_to(request.user).filter(swim=swim)
    return rows.select_related("given_by", "changed_by", "sent__sent_by").first()


def changed_since(swim: Swim, row: TakeHome) -> bool:
    """Something else would be given now than the swimmer has."""
    sent = words_sent(swim)
    return row.given != row.choice or row.sent_id != (sent and sent.pk)


def take_home_part(request: SignedInRequest, swim: Swim) -> dict[str, Any]:
    """On the swim's page. Asked for only where it is shown."""
    row = cache(lambda: row_for(swim, request))

    def changed() -> bool:
        found = row()
        return found is not None and found.given_at is not None and changed_since(swim, found)

    return {"take_home": row, "take_home_changed": changed}


def _seen(request: SignedInRequest, pk: uuid.UUID) -> tuple[Swim, TakeHome | None]:
    """Hidden, absent and not given alike: 404. The row is what the reader has of it."""
    swims = Swim.objects.reviewed_by(request.user).select_related(*WITH_IT)
    swim = get_object_or_404(swims, pk=pk)
    row = row_for(swim, request)
    if row is None and not coaches_here(request, swim):
        raise Http404
    return swim, row


def page_for(request: SignedInRequest, pk: uuid.UUID) -> Page:
    swim, row = _seen(request, pk)
    if row is not None and row.given_at is not None:
        return page_given(row, swim, request.user)
    known = known_of(swim, request.user)
    return page_before_giving(known, request.user, choice_now(known, request.user, row))


@private
@require_safe
def take_home(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    page = page_for(request, pk)
    stands_under(request, "my-swims" if is_own(request.user, page.swim) else "waiting")
    told = {"page": page, "coaching": coaches_here(request, page.swim)}
    with timezone.override(page.swim.entry.clinic.zone):
        return render(request, "feedback/take_home.html", told)


@private
@require_safe
def take_home_pdf(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    page = page_for(request, pk)
    with timezone.override(page.swim.entry.clinic.zone):
        answer = take_home_as_pdf(page, request)
    if request.method == "GET" and answer.status_code == OK:  # else nobody has it
        note_once(action="take-home.download", swim_id=page.swim.pk, by=request.user)
    return answer


@require_safe
def take_home_still(request: SignedInRequest, pk: uuid.UUID, still: uuid.UUID) -> HttpResponseBase:
    """A still of the page, in place. Swimmers get those that were given; that somebody saw one is
    noted as watching is. The fence is asked on every request."""
    swim, row = _seen(request, pk)
    stills = stills_of(swim, request.user).filter(state=TakeAlong.State.READY)
    if not coaches_here(request, swim):
        stills = stills.filter(pk__in=choice_of(row.given if row else None).stills)
    found = get_object_or_404(stills, pk=still)
    assert found.stored is not None
    note_once(action="take-home.see", swim_id=swim.pk, by=request.user)
    return serve_file(request, found.stored)
