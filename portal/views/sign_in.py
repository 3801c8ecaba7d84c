"""Sign in with a code from a mail or with a passkey; prove again that it is you; sign out."""

from __future__ import annotations

import logging
import secrets
from typing import Any

from django.conf import settings
from django.contrib.auth import logout
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect, JsonResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import translation
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from portal import freshness
from portal.actions import factors, limits, sign_in
from portal.forms import CodeForm, EmailForm, FactorCodeForm, PasskeyForm
from portal.models import User
from portal.requests import SignedInRequest

DEVICE_COOKIE = "__Host-device" if settings.SESSION_COOKIE_SECURE else "device"
DEVICE_COOKIE_AGE_S = 365 * freshness.DAY_S
ASKED = "sign_in"  # in the session: the address, this browser's secret and where to go after
log = logging.getLogger("portal.sign_in")
page = require_http_methods(["GET", "HEAD", "POST"])


def see_other(url: str) -> HttpResponse:
    """303: whatever was posted, the next page is fetched with GET."""
    response = HttpResponseRedirect(url)
    response.status_code = 303
    return response


def too_often(request: HttpRequest, error: limits.TooOften) -> HttpResponse:
    minutes = -(-error.retry_after_s // 60)
    log.warning("limit reached address=%s", limits.client_address(request.META))
    response = render(request, "portal/too_often.html", {"minutes": minutes}, status=429)
    response["Retry-After"] = str(error.retry_after_s)
    return response


def _limit_keys(request: HttpRequest, kind: str, email: str) -> list[str]:
    """One per account and one per network address. A browser that is known for this account
    counts for itself: a stranger who asks in your name cannot lock you out of your own."""
    device = sign_in.device_for(request.COOKIES.get(DEVICE_COOKIE, ""))
    account = f"{kind}:account:{email}"
    if device is not None and device.user.email == email:
        account = f"{account}:{device.pk}"
    return [account, f"{kind}:address:{limits.address_key(request.META)}"]


def _count(request: HttpRequest, kind: str, email: str) -> list[str]:
    keys = _limit_keys(request, kind, email)
    for key in keys:
        limits.count_try(key, at_most=settings.TRIES)
    return keys


def _settle(request: HttpRequest, email: str) -> None:
    """It was the right person: their tries are forgotten, and the ones of a whole club behind
    one address (a pool's wireless network) do not add up."""
    for kind in ("ask", "code"):
        account, address = _limit_keys(request, kind, email)
        limits.forget_tries(account)
        limits.give_back(address)


@page
@never_cache
def ask(request: HttpRequest) -> HttpResponse:
    """The asking page. Known or not, an address leads to the same next page."""
    back = freshness.safe_next(request, request.POST.get("next") or request.GET.get("next"))
    if request.user.is_authenticated:
        return HttpResponseRedirect(back)
    form = EmailForm(request.POST or None)
    if request.method != "POST" or not form.is_valid():
        context = {"form": form, "next": back, "passkey_form": PasskeyForm()}
        return render(request, "portal/sign_in.html", context)
    email = form.cleaned_data["email"]
    try:
        _count(request, "ask", email)
    except limits.TooOften as error:
        return too_often(request, error)
    secret = secrets.token_urlsafe(32)
    sign_in.ask_for_code(email=email, browser_secret=secret)
    request.session[ASKED] = {"email": email, "secret": secret, "next": back}
    log.info("code asked for address=%s", limits.client_address(request.META))
    return see_other(reverse("portal:sign-in-code"))


@page
@never_cache
def code(request: HttpRequest) -> HttpResponse:
    """The code page, in the browser that asked. A POST uses the code up."""
    asked = request.session.get(ASKED)
    if asked is None:
        return HttpResponseRedirect(reverse("portal:sign-in"))
    form = CodeForm(request.POST or None)
    status = 200
    if request.method == "POST" and form.is_valid():
        try:
            _count(request, "code", asked["email"])
        except limits.TooOften as error:
            return too_often(request, error)
        user = sign_in.take_code(
            email=asked["email"], browser_secret=asked["secret"], code=form.cleaned_data["code"]
        )
        if user is not None:
            return _signed_in(request, user, asked, form.cleaned_data["own_device"])
        log.warning("code refused address=%s", limits.client_address(request.META))
        form.add_error("code", _("This code is not right, too old, or used. Ask for a new one."))
        status = 422
    context = {"form": form, "email": asked["email"], "minutes": settings.SIGN_IN_CODE_MINUTES}
    return render(request, "portal/sign_in_code.html", context, status=status)


def _signed_in(
    request: HttpRequest, user: User, asked: dict[str, str], own_device: bool
) -> HttpResponse:
    _settle(request, asked["email"])
    request.session.pop(ASKED, None)
    freshness.begin_session(request, user, factor=False, own_device=own_device)
    log.info("signed in user=%s by=code", user.pk)
    return _welcome(request, user, see_other(asked["next"]), own_device)


def _welcome(
    request: HttpRequest, user: User, response: HttpResponse, own_device: bool
) -> HttpResponse:
    """The person's language, and the browser remembered if it is theirs."""
    set_language(response, user.language)
    if own_device:
        token = sign_in.remember_device(
            user=user,
            token=request.COOKIES.get(DEVICE_COOKIE, ""),
            label=device_label(request.headers.get("User-Agent", "")),
        )
        _set_cookie(response, DEVICE_COOKIE, token, DEVICE_COOKIE_AGE_S)
    return response


def _set_cookie(response: HttpResponse, name: str, value: str, age_s: int) -> None:
    response.set_cookie(
        name,
        value,
        max_age=age_s,
        secure=settings.SESSION_COOKIE_SECURE,
        httponly=True,
        samesite="Lax",
    )


def set_language(response: HttpResponse, language: str) -> None:
    if translation.check_for_language(language):
        _set_cookie(response, settings.LANGUAGE_COOKIE_NAME, language, DEVICE_COOKIE_AGE_S)


def device_label(user_agent: str) -> str:
    """“Firefox, Android”: enough to recognise one's own device in a list."""
    browsers = {
        "Edg": "Edge", "OPR": "Opera", "Firefox": "Firefox", "FxiOS": "Firefox",
        "CriOS": "Chrome", "Chrome": "Chrome", "Safari": "Safari",
    }  # fmt: skip
    systems = {
        "iPhone": "iPhone", "iPad": "iPad", "Android": "Android", "Windows": "Windows",
        "Mac OS X": "Mac", "CrOS": "Chromebook", "Linux": "Linux",
    }  # fmt: skip
    found = [
        next((name for mark, name in table.items() if mark in user_agent), "")
        for table in (browsers, systems)
    ]
    return ", ".join(part for part in found if part) or _("unknown browser")


@require_safe
@never_cache
def confirm(request: HttpRequest) -> HttpResponse:
    """Where the mail's link leads. The code stands in its fragment, which no server sees.

    In the browser that asked, one button sends it. In any other, the page only shows the
    figures, to be typed into the first. Opening it changes nothing.
    """
    return render(request, "portal/sign_in_confirm.html", {"asked": ASKED in request.session})


@page
@never_cache
def passkey(request: HttpRequest) -> HttpResponse:
    """Sign in with a passkey alone: it is two factors in one (the device, and its lock)."""
    if request.method != "POST":
        return JsonResponse(factors.passkey_request(None))
    form = PasskeyForm(request.POST)
    address = f"passkey:address:{limits.address_key(request.META)}"
    try:
        limits.count_try(address, at_most=settings.TRIES)
    except limits.TooOften as error:
        return too_often(request, error)
    credential = form.cleaned_data["credential"] if form.is_valid() else {}
    user = factors.use_passkey(user=None, credential=credential)
    if user is None:
        log.warning("passkey refused address=%s", limits.client_address(request.META))
        context = {"form": EmailForm(), "passkey_form": PasskeyForm(), "passkey_refused": True}
        return render(request, "portal/sign_in.html", context, status=422)
    limits.give_back(address)
    freshness.begin_session(request, user, factor=True, own_device=True)
    log.info("signed in user=%s by=passkey", user.pk)
    back = freshness.safe_next(request, request.POST.get("next"))
    return _welcome(request, user, see_other(back), own_device=True)


@require_POST
def sign_out(request: SignedInRequest) -> HttpResponse:
    log.info("signed out user=%s", request.user.pk)
    logout(request)
    return see_other(reverse("portal:sign-in"))


@require_POST
def language(request: HttpRequest) -> HttpResponse:
    chosen = request.POST.get("language", "")
    response = see_other(freshness.safe_next(request, request.POST.get("next")))
    if chosen in dict(settings.LANGUAGES):
        set_language(response, chosen)
        if request.user.is_authenticated:
            User.objects.filter(pk=request.user.pk).update(language=chosen)
    return response


# --- the second factor, when signing in or proving again -----------------------------------------


@page
@never_cache
def use_factor(request: SignedInRequest) -> HttpResponse:
    """Ask for the second factor: a code here, a passkey by the button beside it."""
    back = freshness.safe_next(request, request.POST.get("next") or request.GET.get("next"))
    form = FactorCodeForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            limits.count_try(f"factor:{request.user.pk}", at_most=settings.TRIES)
        except limits.TooOften as error:
            return too_often(request, error)
        if factors.use_code(user=request.user, code=form.cleaned_data["code"]):
            return _factor_used(request, back)
        log.warning("second factor refused user=%s", request.user.pk)
        form.add_error("code", _("This code is not right, or was used. Wait for the next one."))
    return _factor_page(request, form, back, 422 if form.errors else 200)


def _factor_page(request: SignedInRequest, form: Any, back: str, status: int) -> HttpResponse:
    kinds = {factor.type for factor in factors.factors_of(request.user)}
    context = {
        "form": form,
        "next": back,
        "has_passkey": factors.Kind.WEBAUTHN in kinds,
        "has_app": factors.Kind.TOTP in kinds,
        "passkey_form": PasskeyForm(),
    }
    return render(request, "portal/factor_use.html", context, status=status)


def _factor_used(request: SignedInRequest, back: str) -> HttpResponse:
    limits.forget_tries(f"factor:{request.user.pk}")
    freshness.note_factor(request)
    log.info("second factor used user=%s", request.user.pk)
    return see_other(back)


@page
@never_cache
def use_passkey(request: SignedInRequest) -> HttpResponse:
    if request.method != "POST":
        return JsonResponse(factors.passkey_request(request.user))
    try:
        limits.count_try(f"factor:{request.user.pk}", at_most=settings.TRIES)
    except limits.TooOften as error:
        return too_often(request, error)
    form = PasskeyForm(request.POST)
    back = freshness.safe_next(request, request.POST.get("next"))
    credential = form.cleaned_data["credential"] if form.is_valid() else {}
    if factors.use_passkey(user=request.user, credential=credential) is not None:
        return _factor_used(request, back)
    log.warning("second factor refused user=%s", request.user.pk)
    code_form = FactorCodeForm()
    return _factor_page(request, code_form, back, 422)


# --- proving again ---


@page
@never_cache
def fresh(request: SignedInRequest) -> HttpResponse:
    """Prove again that it is you: with the second factor if there is one, else by mail."""
    back = freshness.safe_next(request, request.POST.get("next") or request.GET.get("next"))
    if factors.has_factor(request.user):
        return use_factor(request)
    if request.method != "POST":
        return render(request, "portal/fresh.html", {"next": back})
    try:
        _count(request, "ask", request.user.email)
    except limits.TooOften as error:
        return too_often(request, error)
    secret = secrets.token_urlsafe(32)
    sign_in.ask_for_code(email=request.user.email, browser_secret=secret, purpose=sign_in.FRESH)
    request.session[ASKED] = {"email": request.user.email, "secret": secret, "next": back}
    return see_other(reverse("portal:fresh-code"))


@page
@never_cache
def fresh_code(request: SignedInRequest) -> HttpResponse:
    asked = request.session.get(ASKED)
    if asked is None or factors.has_factor(request.user):
        return HttpResponseRedirect(reverse("portal:fresh"))
    form = CodeForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            _count(request, "code", asked["email"])
        except limits.TooOften as error:
            return too_often(request, error)
        user = sign_in.take_code(
            email=request.user.email,
            browser_secret=asked["secret"],
            code=form.cleaned_data["code"],
            purpose=sign_in.FRESH,
        )
        if user is not None:
            _settle(request, request.user.email)
            request.session.pop(ASKED, None)
            freshness.note_fresh(request)
            return see_other(asked["next"])
        form.add_error("code", _("This code is not right, too old, or used. Ask for a new one."))
    context = {"form": form, "email": asked["email"], "minutes": settings.SIGN_IN_CODE_MINUTES}
    status = 422 if form.errors else 200
    return render(request, "portal/fresh_code.html", context, status=status)


@require_safe
@freshness.fresh_sign_in_required
def fresh_go_on(request: SignedInRequest) -> HttpResponse:
    """Offer again what was about to be sent when we asked who it is."""
    held = request.session.pop(freshness.HELD_POST, None)
    if held is None:
        return HttpResponseRedirect(reverse("portal:home"))
    return render(request, "portal/fresh_go_on.html", held)
