"""Request ids, and sign-in asked for by default (trust 2, 21)."""

from __future__ import annotations

import uuid
from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, resolve_url
from django.urls import Resolver404, resolve

from portal.logs import request_id

# URL names that need no sign-in. Everything else does.
OPEN_TO_ANYONE = {
    "portal:sign-in",
    "portal:sign-in-code",
    "portal:sign-in-confirm",
    "portal:sign-in-passkey",
    "portal:notice",
    "portal:health-live",
}
GetResponse = Callable[[HttpRequest], HttpResponse]


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


class SignInRequiredMiddleware:
    """Sends anyone who is not signed in to the sign-in page, except on the short list."""

    def __init__(self, get_response: GetResponse) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if request.user.is_authenticated or _open_to_anyone(request.path_info):
            return self.get_response(request)
        if request.method in {"GET", "HEAD"} and "text/html" in request.headers.get("Accept", ""):
            return redirect(f"{resolve_url(settings.LOGIN_URL)}?next={request.path}")
        return HttpResponse("Sign in first.", status=401, content_type="text/plain")


def _open_to_anyone(path: str) -> bool:
    if path.startswith(settings.STATIC_URL):
        return True
    try:
        return resolve(path).view_name in OPEN_TO_ANYONE
    except Resolver404:
        return False
