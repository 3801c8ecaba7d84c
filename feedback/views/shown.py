"""Whom a swimmer shows a swim to, beyond the coaches: links, the shelf, clips for anyone."""

from __future__ import annotations

import uuid
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from clinics.actions import publish
from clinics.models import Clip, ClipFile, Publication, Share, ShelfClip, Swim
from feedback.actions import share as shares
from feedback.actions import shelf
from feedback.showing_forms import ShareForm
from feedback.views.films import films_of
from portal.freshness import fresh_sign_in_required
from portal.pages import page_of
from portal.requests import SignedInRequest

NOT_ACCEPTABLE = 422
WHOSE = ("swim__entry__clinic", "swim__entry__swimmer")


@require_safe
def shown(request: SignedInRequest) -> HttpResponse:
    """All of it in one place, each ended with one tap."""
    user = request.user
    mine = {"clip__swim__entry__swimmer__user": user}
    of_clip = [f"clip__{path}" for path in ("station", *WHOSE)]
    puts = page_of(
        ShelfClip.objects.filter(**mine).select_related(*of_clip), request.GET, name="shelf"
    )
    looks = shelf.looks_at(puts.rows)
    public = Publication.objects.filter(**mine, ended_at__isnull=True).select_related(*of_clip)
    public = public.order_by("-swimmer_said_at", "pk")
    made = Share.objects.filter(made_by=user).select_related(*WHOSE)
    context = {
        "shares": page_of(made, request.GET, name="links"),
        "open": set(shares.open_shares(user).values_list("pk", flat=True)),
        "puts": [(put, looks.get(put.pk, [])) for put in puts.rows],
        "puts_page": puts,
        "publications": page_of(public, request.GET, name="clips"),
        "swims": shares.own_given(user).select_related("entry__clinic").order_by("-start_at"),
    }
    return render(request, "feedback/shown.html", context)


def _own(request: SignedInRequest, pk: uuid.UUID) -> Swim:
    rows = shares.own_given(request.user).select_related("entry__clinic", "entry__swimmer")
    return get_object_or_404(rows, pk=pk)


@require_http_methods(["GET", "HEAD", "POST"])
def swim_show(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """Makes links to a swim. A new link is told once: it is kept as a hash."""
    swim = _own(request, pk)
    form = ShareForm(request.POST or None)
    if request.method != "POST" or not form.is_valid():
        return _page(request, swim, form, status=NOT_ACCEPTABLE if form.errors else 200)
    try:
        _share, token = shares.make_share(swim=swim, by=request.user, **form.said())
    except shares.ShareRefused as refusal:
        form.add_error(None, str(refusal))
        return _page(request, swim, form, status=NOT_ACCEPTABLE)
    link = settings.SITE_URL + reverse("feedback:shared-link", args=[token])
    return _page(request, swim, ShareForm(), link=link)


def _page(
    request: SignedInRequest, swim: Swim, form: ShareForm, *, link: str = "", status: int = 200
) -> HttpResponse:
    user = request.user
    clips = Clip.objects.visible_to(user).filter(swim=swim)
    rows = Publication.objects.filter(clip__swim=swim, ended_at__isnull=True)
    public = {row.clip_id: row for row in rows}
    anyone = set(clips.published().values_list("pk", flat=True))
    films = films_of(clips, ClipFile.objects.visible_to(user))
    context: dict[str, Any] = {
        "swim": swim,
        "entry": swim.entry,
        "clinic": swim.entry.clinic,
        "form": form,
        "link": link,
        "shares": shares.open_shares(user).filter(swim=swim),
        "clips": [(film, public.get(film.clip.pk), film.clip.pk in anyone) for film in films],
    }
    return render(request, "feedback/swim_show.html", context, status=status)


@require_POST
def share_end(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    share = get_object_or_404(Share.objects.filter(made_by=request.user), pk=pk)
    shares.end_share(share=share, by=request.user)
    messages.success(request, _("Ended. The link shows nothing any more."))
    return redirect("feedback:shown")


@require_POST
def shelf_end(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    put = get_object_or_404(shelf.may_end(request.user), pk=pk)
    shelf.end(put=put, by=request.user)
    messages.success(request, _("Ended. The clip is off the shelf."))
    mine = put.clip.swim.entry.swimmer.user_id == request.user.pk
    return redirect("feedback:shown" if mine else "feedback:shelf")


def publish_clip(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """The fence comes before the verb, and before asking who it is once more."""
    clip = get_object_or_404(publish.own_given(request.user), pk=pk)
    return _publish(request, clip)


@fresh_sign_in_required
@require_POST
def _publish(request: Any, clip: Clip) -> HttpResponse:
    publish.say_as_swimmer(clip=clip, by=request.user)
    messages.success(request, _("Noted. An admin of the club is asked, too."))
    return redirect("feedback:swim-show", pk=clip.swim_id)


@require_POST
def publication_end(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    own = Publication.objects.filter(
        clip__swim__entry__swimmer__user=request.user, ended_at__isnull=True
    )
    publish.end(publication=get_object_or_404(own, pk=pk), by=request.user)
    messages.success(request, _("Ended. Nobody else sees the clip any more."))
    return redirect("feedback:shown")
