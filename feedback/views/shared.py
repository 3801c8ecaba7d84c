"""What somebody with a share link sees, and what anyone does: films alone, behind their own fence.

The token stands in the first URL only. From there on the session knows which link was
opened; each request, and so each byte range, asks the fence again whether it still shows anything.
"""

from __future__ import annotations

import uuid

from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from clinics.actions import minor
from clinics.models import Clip, ClipFile, Share, Swim
from feedback.actions import share as shares
from feedback.showing_forms import PhraseForm
from feedback.views.films import films_of
from portal.actions import limits
from portal.models import User
from portal.views.serve_file import serve_file
from portal.views.sign_in import see_other, too_often

OPENED, SAID, COUNTED = "share", "share_phrase", "share_counted"
OPEN_FOR_S = 12 * 3600  # on a device that is not signed in
TRIES, TRIES_OF_ALL = 5, 50


def _who(request: HttpRequest) -> User | None:
    return request.user if request.user.is_authenticated else None


def _hidden(response: HttpResponseBase) -> HttpResponseBase:
    """No search engine lists it, and no page that it leads to learns where from."""
    response["X-Robots-Tag"] = "noindex, nofollow, noarchive"
    response["Cache-Control"] = "private, no-store"
    return response


@require_safe
def shared_link(request: HttpRequest, token: str) -> HttpResponseBase:
    """Good or not, it leads to the same clean URL."""
    share = shares.find_share(token)
    request.session.pop(OPENED, None)
    if share is not None:
        request.session[OPENED] = str(share.pk)
        if not request.user.is_authenticated:
            request.session.set_expiry(OPEN_FOR_S)
    return _hidden(see_other(reverse("feedback:shared")))


def _opened(request: HttpRequest) -> Share | None:
    pk = request.session.get(OPENED)
    return Share.objects.filter(pk=pk).first() if pk else None


def _may_look(request: HttpRequest, share: Share) -> bool:
    return not share.phrase_hash or request.session.get(SAID) == str(share.pk)


@require_http_methods(["GET", "HEAD", "POST"])
def shared(request: HttpRequest) -> HttpResponseBase:
    share = _opened(request)
    rows = Swim.objects.select_related("entry__swimmer", "entry__clinic")
    swim = rows.shared_by(share).first() if share is not None else None
    if share is None or swim is None:
        return _hidden(render(request, "feedback/shared_gone.html"))
    if request.method == "POST":
        return _hidden(_take_phrase(request, share))
    if not _may_look(request, share):
        return _hidden(render(request, "feedback/shared_phrase.html", {"form": PhraseForm()}))
    _count(request, share)
    clips = Clip.objects.shared_by(share).filter(swim=swim)
    films = films_of(clips, ClipFile.objects.shared_by(share), _shared_url)
    told = {"swim": swim, "entry": swim.entry, "clinic": swim.entry.clinic, "films": films}
    return _hidden(render(request, "feedback/shared.html", {**told, "share": share}))


def _shared_url(file: ClipFile) -> str:
    return reverse("feedback:shared-file", args=[file.pk])


def _count(request: HttpRequest, share: Share) -> None:
    """Once for each browser."""
    counted = request.session.get(COUNTED, [])
    if request.method == "GET" and str(share.pk) not in counted:
        shares.note_opening(share=share, by=_who(request))
        request.session[COUNTED] = [*counted, str(share.pk)][-50:]


def _take_phrase(request: HttpRequest, share: Share) -> HttpResponse:
    """Few tries for each address, and not many for all together."""
    form = PhraseForm(request.POST)
    if not form.is_valid():
        return render(request, "feedback/shared_phrase.html", {"form": form}, status=422)
    address = limits.address_key(request.META)
    try:
        limits.count_try(f"share:{share.pk}:{address}", at_most=TRIES)
        limits.count_try(f"share:{share.pk}", at_most=TRIES_OF_ALL)
    except limits.TooOften as error:
        return too_often(request, error)
    if not shares.says_phrase(share, form.cleaned_data["phrase"]):
        form.add_error("phrase", _("That is not the pass phrase of this link."))
        return render(request, "feedback/shared_phrase.html", {"form": form}, status=422)
    request.session[SAID] = str(share.pk)
    return see_other(reverse("feedback:shared"))


def shared_file(request: HttpRequest, pk: uuid.UUID) -> HttpResponseBase:
    """The fence comes before the verb."""
    share = _opened(request)
    if share is None or not _may_look(request, share):
        raise Http404
    files = ClipFile.objects.shared_by(share).select_related("stored")
    return _hidden(serve_file(request, get_object_or_404(files, pk=pk).stored))


def shared_minor(request: HttpRequest, pk: uuid.UUID) -> HttpResponseBase:
    share = _opened(request)
    if share is None or not _may_look(request, share):
        raise Http404
    clip = get_object_or_404(Clip.objects.shared_by(share), pk=pk)
    return _say_minor(request, clip, share, "feedback:shared")


# --- for anyone -----------------------------------------------------------------------------------


def _published(pk: uuid.UUID) -> Clip:
    rows = Clip.objects.published().select_related("station", "swim__entry__clinic__club")
    return get_object_or_404(rows, pk=pk)


def published(request: HttpRequest, pk: uuid.UUID) -> HttpResponseBase:
    clip = _published(pk)
    return _published_page(request, clip)


@require_safe
def _published_page(request: HttpRequest, clip: Clip) -> HttpResponseBase:
    clips = Clip.objects.published().filter(pk=clip.pk)
    films = films_of(clips, ClipFile.objects.published(), _published_url)
    entry = clip.swim.entry
    told = {"clip": clip, "entry": entry, "clinic": entry.clinic, "films": films}
    response = render(request, "feedback/published.html", told)
    response["Cache-Control"] = "private, no-store"
    return response


def _published_url(file: ClipFile) -> str:
    return reverse("feedback:published-file", args=[file.pk])


def published_file(request: HttpRequest, pk: uuid.UUID) -> HttpResponseBase:
    files = ClipFile.objects.published().select_related("stored")
    return serve_file(request, get_object_or_404(files, pk=pk).stored)


def published_minor(request: HttpRequest, pk: uuid.UUID) -> HttpResponseBase:
    return _say_minor(request, _published(pk), None, "portal:home")


@require_POST
def _say_minor(
    request: HttpRequest, clip: Clip, share: Share | None, then: str
) -> HttpResponseBase:
    """Anyone who sees a clip may say so; not again and again from one place."""
    try:
        limits.count_try(f"minor:{limits.address_key(request.META)}", at_most=TRIES)
    except limits.TooOften as error:
        return too_often(request, error)
    by = _who(request)
    if by is not None and not Clip.objects.filter(pk=clip.pk).visible_to(by).exists():
        by = None  # they see it by the link alone
    minor.report_minor(clip=clip, by=by, share=share)
    return _hidden(redirect(then))
