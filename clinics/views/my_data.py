"""My data: take it along, have it erased, ask about it. For whoever is in footage."""

from __future__ import annotations

import uuid
from typing import Any, cast

from django.contrib import messages
from django.db.models import QuerySet
from django.http import Http404, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from clinics.actions import swim_wishes
from clinics.actions.export import still_seen
from clinics.models import Swim
from clinics.views.my_data_forms import EraseForm, SwimForm, WordsForm
from clinics.views.my_data_told import swims_told, told_of
from portal.actions import export
from portal.actions.erase import ask_to_erase, cooling_of, what_goes
from portal.actions.requests import NotPossible, make_request, persons_of, take_back
from portal.freshness import fresh_sign_in_required
from portal.models import PersonRequest
from portal.registry import Person
from portal.requests import SignedInRequest
from portal.views.serve_file import serve_file
from portal.views.sign_in import see_other

page = require_http_methods(["GET", "HEAD", "POST"])


def _back() -> HttpResponse:
    return see_other(reverse("clinics:my-data"))


def _person(request: SignedInRequest, pk: uuid.UUID) -> Person:
    for person in persons_of(request.user):
        if person.id == pk:
            return person
    raise Http404


def _swim(request: SignedInRequest, pk: uuid.UUID) -> Swim:
    mine = Swim.objects.visible_to(request.user).filter(entry__swimmer__user=request.user)
    return get_object_or_404(mine.select_related("entry__clinic__club"), pk=pk)


def _sent(request: SignedInRequest) -> QueryDict | None:
    """What was sent with the form, nothing included."""
    return request.POST if request.method == "POST" else None


def _mine(request: SignedInRequest) -> QuerySet[PersonRequest]:
    return PersonRequest.objects.made_by(request.user).select_related("club", "stored")


@require_safe
def my_data(request: SignedInRequest) -> HttpResponse:
    mine = Swim.objects.visible_to(request.user).filter(entry__swimmer__user=request.user)
    told = told_of(persons_of(request.user), list(_mine(request)))
    context = {**told, "swims": swims_told(mine), "words_form": WordsForm()}
    return render(request, "clinics/my_data.html", context)


# --- take along -----------------------------------------------------------------------------------


@fresh_sign_in_required
@require_POST
def my_data_take(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    export.ask_for_export(person=_person(request, pk), by=request.user)
    messages.success(request, _("Your data is being put together. This page shows when it is."))
    return _back()


@fresh_sign_in_required
@require_safe
def my_data_file(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """Handed out once, whole. If a clip in it is not yours to see any more, not at all."""
    row = get_object_or_404(_mine(request).filter(export.waits_to_be_fetched()), pk=pk)
    if not still_seen(row.certificate.get("clips", []), request.user):
        export.forget_export(row)
        messages.error(request, _("A clip in it is no longer shown. Ask for your data anew."))
        return _back()
    if request.method == "HEAD":
        return HttpResponse(content_type="application/zip")
    stored = export.fetch(request=row, by=request.user)
    if stored is None:
        raise Http404
    request.META.pop("HTTP_RANGE", None)  # in parts it could not be handed out once
    day = timezone.localdate().isoformat()
    name = f"my-data-{row.club.slug}-{day}.zip"
    return cast(HttpResponse, serve_file(request, stored, download_name=name))


# --- erase --------------------------------------------------------------------------------------


@page
@fresh_sign_in_required
def my_data_erase(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """What will go and what stays, then the wish."""
    person = _person(request, pk)
    form = EraseForm(_sent(request))
    if request.method == "POST" and form.is_valid():
        row = ask_to_erase(person=person, by=request.user)
        told = _("From now on nobody else sees anything of you. It is deleted after %(day)s.")
        messages.success(request, told % {"day": row.act_at and row.act_at.date()})
        return _back()
    goes, stays = what_goes(person)
    days = cooling_of(person).days
    context = {"person": person, "form": form, "goes": goes, "stays": stays, "days": days}
    return render(
        request, "clinics/my_data_erase.html", context, status=422 if form.errors else 200
    )


@require_POST
def my_data_take_back(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """One click, and no fresh sign-in: it brings nothing to anybody who could not see it."""
    row = get_object_or_404(_mine(request), pk=pk)
    try:
        take_back(request=row, by=request.user)
    except NotPossible as reason:
        messages.error(request, str(reason))
    else:
        messages.success(request, _("Taken back. All is as it was."))
    return _back()


# --- one swim, and anything else ------------------------------------------------------------------


@page
@fresh_sign_in_required
def my_data_swim(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    swim = _swim(request, pk)
    form = SwimForm(_sent(request))
    if request.method == "POST" and form.is_valid():
        messages.success(request, _do(swim, request, form.cleaned_data))
        return _back()
    context = {"swim": swim, "form": form}
    return render(request, "clinics/my_data_swim.html", context, status=422 if form.errors else 200)


def _do(swim: Swim, request: SignedInRequest, told: dict[str, Any]) -> str:
    if told["wish"] == PersonRequest.Kind.DELETE_NOW:
        swim_wishes.delete_now(swim=swim, by=request.user)
        return _("Nobody sees this swim any more. Its files are deleted within a day.")
    swim_wishes.ask_to_keep(swim=swim, by=request.user, words=told["words"])
    return _("Asked. The club answers within a month.")


@require_POST
def my_data_write(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    person = _person(request, pk)
    form = WordsForm(request.POST)
    if not form.is_valid():
        messages.error(request, _("Say in a sentence what you want to know or have changed."))
        return _back()
    make_request(
        kind=PersonRequest.Kind.OTHER,
        club=person.club,
        user=request.user,
        by=request.user,
        subject_kind=person.kind,
        subject_id=person.id,
        words=form.cleaned_data["words"],
    )
    messages.success(request, _("Sent. The club answers within a month."))
    return _back()
