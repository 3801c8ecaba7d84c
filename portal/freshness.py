"""What a session knows of how its person signed in, and how long ago.

Kept in the session, as seconds since 1970: `signed_in_at` (absolute limit), `seen_at` (idle
limit), `factor_at` (a second factor was used), `fresh_at` (last proof that it is still you).
"""

from __future__ import annotations

import time
from collections.abc import Callable
from functools import wraps
from typing import Any
from urllib.parse import urlencode

from allauth.usersessions.models import UserSession
from django.conf import settings
from django.contrib.auth import login
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme

from portal.actions.factors import has_factor, needs_second_factor
from portal.models import User
from portal.requests import SignedInRequest

HELD_POST = "held_post"
HELD_POST_MAX_CHARS = 20_000
DAY_S = 86_400
SHARED_DEVICE_S = 12 * 3600
View = Callable[..., HttpResponse]


def now_s() -> int:
    return int(time.time())


def begin_session(request: HttpRequest, user: User, *, factor: bool, own_device: bool) -> None:
    """Sign in: the session's key is new, and its limits begin."""
    login(request, user, backend="django.contrib.auth.backends.ModelBackend")
    session = request.session
    session.set_expiry(settings.SESSION_COOKIE_AGE if own_device else 0)
    session["signed_in_at"] = session["seen_at"] = session["fresh_at"] = now_s()
    session["own_device"] = own_device
    session["has_factor"] = has_factor(user)
    session.pop("factor_at", None)
    if factor:
        session["factor_at"] = now_s()
    session.save()
    UserSession.objects.create_from_request(request)


def note_factor(request: HttpRequest) -> None:
    """A second factor was used or set up: more may be done, so the session's key changes."""
    before = request.session.session_key
    request.session.cycle_key()
    UserSession.objects.filter(session_key=before).update(session_key=request.session.session_key)
    request.session["has_factor"] = True
    request.session["factor_at"] = request.session["fresh_at"] = now_s()


def note_factor_gone(request: SignedInRequest) -> None:
    """After the last one is removed the session counts as signed in by mail alone."""
    request.session["has_factor"] = has_factor(request.user)
    if not request.session["has_factor"]:
        request.session.pop("factor_at", None)


def note_fresh(request: HttpRequest) -> None:
    request.session["fresh_at"] = now_s()


def is_over(request: HttpRequest) -> bool:
    """The absolute or the idle limit has passed, or the session was not begun by us."""
    session, now = request.session, now_s()
    own = session.get("own_device", False)
    absolute_s = settings.SESSION_COOKIE_AGE if own else SHARED_DEVICE_S
    idle_s = settings.SESSION_IDLE_DAYS * DAY_S
    begun, seen = session.get("signed_in_at", 0), session.get("seen_at", 0)
    return now - begun > absolute_s or now - seen > idle_s


def is_fresh(request: HttpRequest) -> bool:
    age_s = now_s() - request.session.get("fresh_at", 0)
    return age_s < settings.FRESH_SIGN_IN_MINUTES * 60


def owes_factor(request: SignedInRequest) -> bool:
    """Signed in by mail alone, although the role (or the person) asks for more."""
    if "factor_at" in request.session:
        return False
    if request.session.get("has_factor"):
        return True
    return bool(settings.SECOND_FACTOR_REQUIRED) and needs_second_factor(request.user)


def safe_next(request: HttpRequest, url: str | None) -> str:
    """Only a path on this site; anything else leads home."""
    home = reverse("portal:home")
    ours = url_has_allowed_host_and_scheme(
        url or "", allowed_hosts={request.get_host()}, require_https=request.is_secure()
    )
    return url if ours and url else home


def fresh_sign_in_required(view: View) -> View:
    """Ask who it is again if that was more than 15 minutes ago, then return to where they were.

    What was sent with a form is kept meanwhile, and offered to be sent again.
    """

    @wraps(view)
    def asked(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if is_fresh(request):
            return view(request, *args, **kwargs)
        return _ask_again(request)

    return asked


def _ask_again(request: HttpRequest) -> HttpResponse:
    back = request.get_full_path()
    if request.method not in {"GET", "HEAD"}:
        _hold_post(request)
        back = reverse("portal:fresh-go-on")
    url = f"{reverse('portal:fresh')}?{urlencode({'next': back})}"
    if getattr(request, "htmx", False):
        return HttpResponse(status=204, headers={"HX-Redirect": url})
    response = HttpResponseRedirect(url)
    response.status_code = 303
    return response


def _hold_post(request: HttpRequest) -> None:
    fields = [(name, value) for name, values in request.POST.lists() for value in values]
    fields = [field for field in fields if field[0] != "csrfmiddlewaretoken"]
    if sum(len(name) + len(value) for name, value in fields) > HELD_POST_MAX_CHARS:
        fields = []
    request.session[HELD_POST] = {"path": request.get_full_path(), "fields": fields}
