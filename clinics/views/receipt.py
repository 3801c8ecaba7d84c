"""The receipt of an answer, as a page, as PDF and as JSON: for its swimmer, for the club's
admins, and for whoever has opened the swimmer's personal link."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from typing import Any

from django.db.models import Q
from django.http import HttpRequest, HttpResponse, HttpResponseNotAllowed, JsonResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.cache import never_cache

from clinics.actions.consent_receipt import facts_of, receipt_of
from clinics.models import Consent, Swimmer
from clinics.views.sign import asked_by_link
from clinics.views.who import me
from portal.pdf_out import pdf_response


def _found(request: HttpRequest, pk: uuid.UUID) -> Consent:
    """404 alike for what is not theirs and what is not there, signed in or not."""
    asked = asked_by_link(request)
    mine = Q(swimmer=asked.swimmer_id) if asked else Q(pk__in=[])
    if request.user.is_authenticated:
        run = Swimmer.objects.managed_by(me(request)).values("pk")
        mine |= Q(swimmer__user=me(request)) | Q(swimmer__in=run)
    consents = Consent.objects.filter(mine).select_related("text", "swimmer__club", "clinic")
    return get_object_or_404(consents, pk=pk)


def _told(consent: Consent) -> dict[str, Any]:
    facts = facts_of(consent)
    return {
        "consent": consent,
        "facts": facts,
        "club": consent.swimmer.club,
        "issued_at": timezone.now(),
    }


def _answer(
    request: HttpRequest, pk: uuid.UUID, respond: Callable[[Consent], HttpResponse]
) -> HttpResponse:
    """The fence comes before the verb, so that hidden and absent answer alike on each."""
    found = _found(request, pk)
    if request.method not in ("GET", "HEAD"):
        return HttpResponseNotAllowed(["GET", "HEAD"])
    with timezone.override(found.clinic.zone if found.clinic else None):
        return respond(found)


@never_cache
def receipt(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    def page(consent: Consent) -> HttpResponse:
        return render(request, "clinics/receipt.html", _told(consent))

    return _answer(request, pk, page)


@never_cache
def receipt_pdf(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    def as_pdf(consent: Consent) -> HttpResponse:
        return pdf_response(f"{_name(consent)}.pdf", "clinics/receipt_pdf.html", _told(consent))

    return _answer(request, pk, as_pdf)


@never_cache
def receipt_json(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    def as_json(consent: Consent) -> HttpResponse:
        response = JsonResponse(receipt_of(consent), json_dumps_params={"indent": 2})
        response["Content-Disposition"] = f'attachment; filename="{_name(consent)}.json"'
        return response

    return _answer(request, pk, as_json)


def _name(consent: Consent) -> str:
    return f"receipt-{consent.purpose}-{consent.given_at:%Y-%m-%d}"
