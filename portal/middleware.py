"""Request ids, sign-in asked for by default, and the second factor."""

from __future__ import annotations

import datetime as dt
import logging
import uuid
from collections.abc import Callable
from typing import cast
from urllib.parse import urlencode

from allauth.usersessions.models import UserSession
from django.conf import settings
from django.contrib.auth import logout
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import resolve_url
from django.urls import Resolver404, resolve, reverse
from django.utils import timezone
from django.utils.cache import add_never_cache_headers

from portal import freshness
from portal.actions import audit, denials, limits
from portal.actions.factors import has_factor
from portal.logs import request_id
from portal.requests import SignedInRequest

# URL names that need no sign-in. Everything else does.
OPEN_TO_ANYONE = {
    "portal:sign-in",
    "portal:sign-in-code",
    "portal:sign-in-confirm",
    "portal:sign-in-passkey",
    "portal:language",
    "portal:notice",
    "portal:health-live",
    "portal:erased",  # a certificate: whoever has its address may have no account any more
    # a personal link to answer about consent; its pages ask whether it is good, and show no footage
    "clinics:sign-link",
    "clinics:sign",
    "clinics:sign-end",
    "clinics:receipt",
    "clinics:receipt-pdf",
    "clinics:receipt-json",
    # signing up by a club's link, and the own sign-up by the link in a mail; they name nobody else
    "clinics:sign-up-link",
    "clinics:sign-up",
    "clinics:sign-up-sent",
    "clinics:sign-up-mine-link",
    "clinics:sign-up-mine",
    "clinics:sign-up-mine-end",
    # each behind a fence of its own: a share link, a clip published for anyone
    "feedback:shared-link",
    "feedback:shared",
    "feedback:shared-file",
    "feedback:shared-minor",
    "feedback:published",
    "feedback:published-file",
    "feedback:published-minor",
}
# What somebody reaches who has signed in by mail but still owes the second factor.
WITHOUT_FACTOR = {"portal:sign-out", "portal:language", "portal:notice", "portal:health-live"}
USE_FACTOR = {"portal:factor-use", "portal:factor-use-passkey"}
SET_UP_FACTOR = {
    "portal:factors",
    "portal:factor-app",
    "portal:factor-passkey",
    "portal:fresh",
    "portal:fresh-code",
    "portal:fresh-go-on",
}
SEEN_EVERY_S = 300
DENIALS_AT_MOST = 30
DENIAL_WINDOW = dt.timedelta(minutes=15)
GetResponse = Callable[[HttpRequest], HttpResponse]
log = logging.getLogger("portal.access")


class RequestIdMiddleware:
    """Each request gets an id that its log lines carry."""

    def __init__(self, get_response: GetResponse) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        token = request_id.set(uuid.uuid4().hex[:12])
        try:
            response = self.get_response(request)
            response["X-Request-Id"] = request_id.get()
            return response
        finally:
            request_id.reset(token)


class OwnOriginMiddleware:
    """Tells our own forms from others' although both may say `Origin: null`.

    With `Referrer-Policy: no-referrer` browsers send `Origin: null` with every form (Fetch
    standard, “append a request Origin header”), and Django's CSRF check would refuse our own.
    Browsers also say where a request comes from in Sec-Fetch-Site, which no page can set:
    `same-origin` stands for our origin. Without that header (plain HTTP, old browsers) the
    null says nothing and is left out, so that Django checks as if no Origin had been sent:
    the token alone on HTTP, the token and a Referer on HTTPS. The token is always checked.
    """

    def __init__(self, get_response: GetResponse) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if request.META.get("HTTP_ORIGIN") == "null":
            site = request.META.get("HTTP_SEC_FETCH_SITE")
            if site == "same-origin":
                request.META["HTTP_ORIGIN"] = f"{request.scheme}://{request.get_host()}"
            elif site is None:
                del request.META["HTTP_ORIGIN"]
        return self.get_response(request)


class SignInRequiredMiddleware:
    """Sends anyone who is not signed in to the sign-in page, except on the short list, and
    whoever still owes a second factor to the page that asks for it or sets it up."""

    def __init__(self, get_response: GetResponse) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if request.path_info.startswith(settings.STATIC_URL):
            return self.get_response(request)
        if request.user.is_authenticated and freshness.is_over(request):
            logout(request)
        view_name = _view_name(request)
        if not request.user.is_authenticated:
            if view_name in OPEN_TO_ANYONE:
                return self.get_response(request)
            return _ask_to_sign_in(request)
        _note_seen(request)
        response = _ask_for_factor(cast(SignedInRequest, request), view_name) or self.get_response(
            request
        )
        if "Cache-Control" not in response:
            add_never_cache_headers(response)
        if response.status_code in {403, 404}:
            _note_denial(request, view_name, response.status_code)
        return response


def _view_name(request: HttpRequest) -> str:
    try:
        return resolve(request.path_info).view_name
    except Resolver404:
        return ""


def _wants_page(request: HttpRequest) -> bool:
    return request.method in {"GET", "HEAD"} and "text/html" in request.headers.get("Accept", "")


def _refused(status: int, sentence: str) -> HttpResponse:
    response = HttpResponse(sentence, status=status, content_type="text/plain; charset=utf-8")
    if status == 401:
        response["WWW-Authenticate"] = 'Session realm="Sidelane"'  # RFC 9110, 15.5.2
    return response


def _lead_to(request: HttpRequest, url: str) -> HttpResponse:
    return HttpResponseRedirect(f"{url}?{urlencode({'next': request.get_full_path()})}")


def _ask_to_sign_in(request: HttpRequest) -> HttpResponse:
    if _wants_page(request):
        return _lead_to(request, resolve_url(settings.LOGIN_URL))
    return _refused(401, "Sign in first.")


def _ask_for_factor(request: SignedInRequest, view_name: str) -> HttpResponse | None:
    if view_name in WITHOUT_FACTOR or not freshness.owes_factor(request):
        return None
    has_one = has_factor(request.user)
    if view_name in (USE_FACTOR if has_one else SET_UP_FACTOR):
        return None
    if _wants_page(request):
        return _lead_to(request, reverse("portal:factor-use" if has_one else "portal:factors"))
    return _refused(403, "Use your second factor first.")


def _note_seen(request: HttpRequest) -> None:
    """For the idle limit and the list of sessions; not on every request, it is a write."""
    if freshness.now_s() - request.session.get("seen_at", 0) < SEEN_EVERY_S:
        return
    request.session["seen_at"] = freshness.now_s()
    UserSession.objects.filter(session_key=request.session.session_key).update(
        last_seen_at=timezone.now()
    )


def _note_denial(request: HttpRequest, view_name: str, status: int) -> None:
    """Denials to people signed in are chained, few enough that nobody stuffs the chain."""
    log.warning("denied user=%s status=%s path=%s", request.user.pk, status, request.path)
    if not view_name or not request.user.pk:
        return
    try:
        limits.count_try(
            f"denied:{request.user.pk}:{request.path}", at_most=1, window=DENIAL_WINDOW
        )
        limits.count_try(f"denied:{request.user.pk}", at_most=DENIALS_AT_MOST, window=DENIAL_WINDOW)
    except limits.TooOften:
        return
    match = resolve(request.path_info)
    ids = {name: str(value) for name, value in match.kwargs.items()}
    subject, club = denials.about(match.kwargs)
    audit.record(
        action="denied",
        by=request.user,
        subject=subject,
        club=club,
        detail={"view": view_name, "ids": ids, "method": request.method, "status": status},
    )
