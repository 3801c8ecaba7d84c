"""One's own account: name, language, where one is signed in, second factor."""

from __future__ import annotations

import base64

from allauth.mfa.models import Authenticator
from allauth.usersessions.models import UserSession
from django.contrib import messages
from django.http import HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from portal import freshness
from portal.actions import audit, factors, limits, sessions
from portal.forms import AccountForm, FactorCodeForm, PasskeyForm
from portal.freshness import fresh_sign_in_required
from portal.requests import SignedInRequest
from portal.views.sign_in import device_label, see_other, set_language, settings, too_often

page = require_http_methods(["GET", "HEAD", "POST"])
TOTP_SECRET = "totp_secret"  # noqa: S105 (a key of the session)


@page
def account(request: SignedInRequest) -> HttpResponse:
    form = AccountForm(request.POST or None, instance=request.user)
    if request.method == "POST" and form.is_valid():
        form.save()
        messages.success(request, _("Saved."))
        response = see_other(reverse("portal:account"))
        set_language(response, request.user.language)
        return response
    signed_in = [
        {
            "session": session,
            "label": device_label(session.user_agent),
            "here": session.session_key == request.session.session_key,
        }
        for session in sessions.sessions_of(request.user)
    ]
    context = {
        "form": form,
        "sessions": signed_in,
        "factors": factors.factors_of(request.user),
        "factor_needed": factors.needs_second_factor(request.user),
    }
    return render(request, "portal/account.html", context)


@require_POST
def end_session(request: SignedInRequest, pk: int) -> HttpResponse:
    session = get_object_or_404(UserSession, pk=pk, user=request.user)
    here = session.session_key == request.session.session_key
    sessions.end_session(session=session, by=request.user)
    if here:
        request.session.flush()
        return see_other(reverse("portal:sign-in"))
    messages.success(request, _("That device is signed out."))
    return see_other(reverse("portal:account"))


@require_POST
def end_other_sessions(request: SignedInRequest) -> HttpResponse:
    audit.record(action="other-sessions-ended", by=request.user, subject=request.user)
    sessions.end_sessions(user=request.user, but=request.session.session_key)
    messages.success(request, _("All other devices are signed out."))
    return see_other(reverse("portal:account"))


# --- second factor --------------------------------------------------------------------------------


@require_safe
def second_factor(request: SignedInRequest) -> HttpResponse:
    """What there is, and what can be added. Where somebody lands who still needs one."""
    context = {
        "factors": factors.factors_of(request.user),
        "needed": factors.needs_second_factor(request.user),
        "owed": freshness.owes_factor(request),
    }
    return render(request, "portal/factors.html", context)


@page
@fresh_sign_in_required
def factor_app(request: SignedInRequest) -> HttpResponse:
    """Add an authenticator app: a picture to scan, then its first code."""
    if any(factor.type == factors.Kind.TOTP for factor in factors.factors_of(request.user)):
        return HttpResponseRedirect(reverse("portal:factors"))
    secret = request.session.get(TOTP_SECRET) or factors.new_totp_secret()
    request.session[TOTP_SECRET] = secret
    form = FactorCodeForm(request.POST or None, label=_("The code that the app shows now"))
    if request.method == "POST" and form.is_valid():
        try:
            limits.count_try(f"factor:{request.user.pk}", at_most=settings.TRIES)
        except limits.TooOften as error:
            return too_often(request, error)
        code = form.cleaned_data["code"]
        if factors.add_totp(user=request.user, encrypted_secret=secret, code=code):
            del request.session[TOTP_SECRET]
            return _added(request)
        form.add_error("code", _("The app shows another code by now, or its clock is wrong."))
    typed, picture = factors.totp_picture(request.user, secret)
    context = {
        "form": form,
        "secret": " ".join(typed[i : i + 4] for i in range(0, len(typed), 4)),
        "picture": base64.b64encode(picture.encode()).decode(),
    }
    return render(request, "portal/factor_app.html", context, status=422 if form.errors else 200)


@page
@fresh_sign_in_required
def factor_passkey(request: SignedInRequest) -> HttpResponse:
    """Add a passkey. The browser makes it (passkey.js); we keep its public key."""
    form = PasskeyForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        name, credential = form.cleaned_data["name"], form.cleaned_data["credential"]
        if factors.add_passkey(user=request.user, name=name, credential=credential):
            return _added(request)
        form.add_error(None, _("The passkey could not be checked. Try once more."))
    context = {"form": form, "options": factors.passkey_creation(request.user)}
    return render(
        request, "portal/factor_passkey.html", context, status=422 if form.errors else 200
    )


def _added(request: SignedInRequest) -> HttpResponse:
    """To the recovery codes: without them a lost phone locks the person out."""
    limits.forget_tries(f"factor:{request.user.pk}")
    freshness.note_factor(request)
    messages.success(request, _("Your second factor is set up."))
    return see_other(reverse("portal:factor-recovery"))


@page
@fresh_sign_in_required
def factor_recovery(request: SignedInRequest) -> HttpResponse:
    if not factors.has_factor(request.user):
        return HttpResponseRedirect(reverse("portal:factors"))
    if request.method == "POST":
        factors.new_recovery_codes(user=request.user)
        return see_other(reverse("portal:factor-recovery"))
    context = {"codes": factors.unused_recovery_codes(request.user)}
    return render(request, "portal/factor_recovery.html", context)


@page
@fresh_sign_in_required
def factor_remove(request: SignedInRequest, pk: int) -> HttpResponse:
    """Ask, then remove. Where the role asks for a factor, the next page asks to set one up."""
    mine = Authenticator.objects.filter(user=request.user, type__in=factors.FACTORS)
    factor = get_object_or_404(mine, pk=pk)
    if request.method == "POST":
        factors.remove_factor(user=request.user, factor=factor)
        freshness.note_factor_gone(request)
        messages.success(request, _("Removed."))
        return see_other(reverse("portal:factors"))
    return render(request, "portal/factor_remove.html", {"factor": factor})
