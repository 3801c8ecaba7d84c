"""Taking a swim of the queue, letting it go, handing it on; from the list or from the room."""

from __future__ import annotations

import uuid

from django import forms
from django.contrib import messages
from django.http import HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from clinics.models import Swim
from feedback.actions import taken
from feedback.privacy import coaches_of
from feedback.views.feedback import queue_part
from feedback.views.walk import walk_of
from portal.models import User
from portal.requests import SignedInRequest
from portal.row_field import RowChoiceField


class HandForm(forms.Form):
    """To whom: one of the clinic's coaches."""

    to = RowChoiceField(User.objects.none())

    def __init__(self, *args: object, swim: Swim) -> None:
        super().__init__(*args)  # type: ignore[arg-type]
        self.fields["to"].queryset = coaches_of(swim.entry.clinic)  # type: ignore[attr-defined]


def _coached(request: SignedInRequest, pk: uuid.UUID) -> Swim:
    swims = Swim.objects.coached_by(request.user)
    return get_object_or_404(swims.select_related("entry__swimmer", "entry__clinic__club"), pk=pk)


def _back(request: SignedInRequest, swim: Swim) -> HttpResponse:
    """To where it was asked: the line of the list, or the room's line of the queue."""
    walk = walk_of(request.GET, request.user)
    if "list" in request.POST:
        return HttpResponseRedirect(f"{reverse('feedback:waiting')}?{walk.query()}#swim-{swim.pk}")
    if request.htmx:  # type: ignore[attr-defined]
        context = {"swim": swim, "coaching": True, **queue_part(request, swim)}
        return render(request, "feedback/_queue_nav.html", context)
    return HttpResponseRedirect(f"{reverse('feedback:swim', args=[swim.pk])}?{walk.here}")


@require_POST
def take(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    swim = _coached(request, pk)
    try:
        taken.take(swim=swim, by=request.user)
    except taken.TakenAlready as error:
        told = {"name": error.coach}
        messages.warning(request, _("%(name)s took this swim meanwhile.") % told)
    return _back(request, swim)


@require_POST
def let_go(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    swim = _coached(request, pk)
    taken.let_go(swim=swim, by=request.user)
    return _back(request, swim)


@require_POST
def hand_on(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    swim = _coached(request, pk)
    form = HandForm(request.POST, swim=swim)
    if form.is_valid():
        taken.hand_on(swim=swim, to=form.cleaned_data["to"], by=request.user)
    else:
        messages.warning(request, _("Choose one of the clinic's coaches."))
    return _back(request, swim)
