"""The slate: a phone shows the clinic's clock as a changing code, for cameras to film."""

from __future__ import annotations

import datetime as dt
import uuid

from django import forms
from django.http import HttpResponse, HttpResponseNotAllowed, JsonResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.utils.translation import gettext as _

from clinics.compute.slate import MOST_U_MS, PERIOD_MS, clinic_code_of, index_at
from clinics.compute.slate_matrix import SIDE, matrices
from clinics.compute.slate_tones import EVERY_S, FADE_S, FROM_HZ, LENGTH_S, TO_HZ
from clinics.compute.time import to_epoch_s
from clinics.models import Clinic
from portal.actions.limits import TooOften, count_try
from portal.requests import SignedInRequest

SAFE = ("GET", "HEAD")
BLOCK = 128
"""Codes in one answer: some 21 s of them."""
NEAR_S = 300.0
ASKED_AT_MOST, ASKED_WITHIN = 120, dt.timedelta(minutes=5)
KEPT_S = 300


class CodesForm(forms.Form):
    """Which codes: block n holds the BLOCK codes from number n * BLOCK on. Without `block` it
    is the one that shows now. `tone_u_ms` is left out when no tone is played."""

    block = forms.IntegerField(required=False, min_value=0)
    u_ms = forms.IntegerField(required=False, min_value=0, max_value=MOST_U_MS)
    tone_u_ms = forms.IntegerField(required=False, min_value=0, max_value=10_000)

    def clean_block(self) -> int:
        now = index_at(_now_ms()) // BLOCK
        block = self.cleaned_data["block"]
        if block is None:
            return now
        if abs(block - now) * BLOCK * PERIOD_MS > 1000 * NEAR_S:
            raise forms.ValidationError(_("Only the codes of the next minutes are given."))
        return int(block)

    def clean_u_ms(self) -> int:
        """A phone that does not say how well it measured its clock is not believed."""
        u_ms = self.cleaned_data["u_ms"]
        return MOST_U_MS if u_ms is None else int(u_ms)


def _clinic(request: SignedInRequest, pk: uuid.UUID) -> Clinic:
    return get_object_or_404(Clinic.objects.worked_by(request.user).select_related("club"), pk=pk)


def _now_ms() -> float:
    return 1000 * to_epoch_s(timezone.now())


def slate(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    clinic = _clinic(request, pk)
    if request.method not in SAFE:
        return HttpResponseNotAllowed(SAFE)
    tone = {
        "fromHz": FROM_HZ,
        "toHz": TO_HZ,
        "lengthS": LENGTH_S,
        "fadeS": FADE_S,
        "everyS": EVERY_S,
    }
    return render(
        request,
        "clinics/slate.html",
        {"clinic": clinic, "period_ms": PERIOD_MS, "per_block": BLOCK, "side": SIDE, "tone": tone},
    )


def slate_time(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """The server's clock, for a phone to measure its own against."""
    _clinic(request, pk)
    if request.method not in SAFE:
        return HttpResponseNotAllowed(SAFE)
    return JsonResponse({"now_ms": _now_ms()}, headers={"Cache-Control": "no-store"})


def slate_codes(request: SignedInRequest, pk: uuid.UUID) -> HttpResponse:
    """Some seconds of codes as modules. They depend on nothing but what is asked for."""
    clinic = _clinic(request, pk)
    if request.method not in SAFE:
        return HttpResponseNotAllowed(SAFE)
    form = CodesForm(request.GET)
    if not form.is_valid():
        return JsonResponse({"errors": form.errors}, status=422)
    try:
        count_try(f"slate:{request.user.pk}", at_most=ASKED_AT_MOST, window=ASKED_WITHIN)
    except TooOften as often:
        return JsonResponse({}, status=429, headers={"Retry-After": str(often.retry_after_s)})
    said = form.cleaned_data
    first = said["block"] * BLOCK
    codes = matrices(clinic_code_of(clinic.pk), first, BLOCK, said["u_ms"], said["tone_u_ms"])
    told = {"first": first, "codes": codes}
    return JsonResponse(told, headers={"Cache-Control": f"private, max-age={KEPT_S}"})
