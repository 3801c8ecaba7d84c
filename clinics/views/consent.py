"""Who agrees to be filmed, as an admin of the club records it. No footage here."""

from __future__ import annotations

import uuid
from dataclasses import dataclass

from django.contrib import messages
from django.db.models import Max, Prefetch
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from clinics.actions.consent import ConsentRefused, end_consent, record_consent
from clinics.actions.keeping import WITHDRAWN_KEPT
from clinics.models import Clinic, Consent, Entry
from clinics.privacy import FILM_AND_REVIEW
from clinics.views.who import me
from portal.freshness import fresh_sign_in_required


@dataclass(frozen=True)
class Agreed:
    """One line of the list: the entry and what its swimmer agreed to, newest first."""

    entry: Entry
    current: Consent | None
    last: Consent | None
    before: list[Consent]


def _clinic(request: HttpRequest, pk: uuid.UUID) -> Clinic:
    clinics = Clinic.objects.run_by(me(request)).select_related("club")
    return get_object_or_404(clinics, pk=pk)


def _lines(clinic: Clinic) -> list[Agreed]:
    consents = Consent.objects.filter(purpose=FILM_AND_REVIEW).select_related("recorded_by")
    entries = clinic.entries.select_related("swimmer", "lane_group").prefetch_related(
        Prefetch("swimmer__consents", consents.order_by("-given_at"))
    )
    lines = []
    # joined to the swims only here: their date is the same for all swims of one withdrawal
    for entry in entries.annotate(goes_at=Max("swims__delete_by")).order_by("number"):
        told = list(entry.swimmer.consents.all())
        current = next((consent for consent in told if consent.ended_at is None), None)
        before = [consent for consent in told if consent.ended_at is not None]
        lines.append(Agreed(entry, current, before[0] if before else None, before))
    return lines


@require_safe
def consent(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    clinic = _clinic(request, pk)
    lines = _lines(clinic)
    agreed = sum(line.current is not None for line in lines)
    context = {
        "clinic": clinic,
        "lines": lines,
        "agreed": agreed,
        "not_yet": len(lines) - agreed,
        "withdrawn_kept_days": WITHDRAWN_KEPT.days,
    }
    with timezone.override(clinic.zone):
        return render(request, "clinics/consent.html", context)


def _entry(request: HttpRequest, pk: uuid.UUID, entry: uuid.UUID) -> Entry:
    entries = Entry.objects.filter(clinic=_clinic(request, pk)).select_related("swimmer")
    return get_object_or_404(entries, pk=entry)


def _back(entry: Entry) -> HttpResponse:
    return redirect(f"{reverse('clinics:consent', args=[entry.clinic_id])}#entry-{entry.number}")


@fresh_sign_in_required
@require_POST
def consent_record(request: HttpRequest, pk: uuid.UUID, entry: uuid.UUID) -> HttpResponse:
    row = _entry(request, pk, entry)
    try:
        record_consent(swimmer=row.swimmer, purpose=FILM_AND_REVIEW, by=me(request))
    except ConsentRefused as refusal:
        messages.error(request, str(refusal))
    else:
        told = _("Recorded: %(name)s agrees to be filmed.") % {"name": row.swimmer.name}
        messages.success(request, told)
    return _back(row)


@require_POST
def consent_end(request: HttpRequest, pk: uuid.UUID, entry: uuid.UUID) -> HttpResponse:
    """Ending asks nothing more than recording did, and no fresh sign-in (trust 24)."""
    row = _entry(request, pk, entry)
    end_consent(swimmer=row.swimmer, purpose=FILM_AND_REVIEW, by=me(request))
    told = _("Ended: from now on nobody else sees %(name)s.") % {"name": row.swimmer.name}
    messages.success(request, told)
    return _back(row)
