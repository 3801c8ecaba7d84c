"""The consent board of a clinic, for its club's admins: who was asked, agreed to what, is missing,
must be asked again. No footage here."""

from __future__ import annotations

import base64
import io
import uuid
from collections.abc import Iterator
from typing import Any

import segno
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from clinics.actions.consent import ConsentRefused, end_consent, record_consent
from clinics.actions.consent_ask import LINK_LASTS, ask, make_link
from clinics.actions.consent_board import FILTERS, Board, Line, board_of
from clinics.actions.keeping import WITHDRAWN_KEPT
from clinics.models import Clinic, Entry, Purpose
from clinics.privacy import FILM_AND_REVIEW
from clinics.views.consent_forms import language_now
from clinics.views.consent_texts import tell_asked
from clinics.views.who import me
from portal.csv_out import csv_response
from portal.freshness import fresh_sign_in_required


def _clinic(request: HttpRequest, pk: uuid.UUID) -> Clinic:
    clinics = Clinic.objects.run_by(me(request)).select_related("club")
    return get_object_or_404(clinics, pk=pk)


def _context(board: Board, which: str) -> dict[str, Any]:
    agreed = sum(line.film.in_force for line in board.lines)
    return {
        "clinic": board.clinic,
        "lines": board.shown(which),
        "everybody": len(board.lines),
        "agreed": agreed,
        "not_yet": len(board.lines) - agreed,
        "to_ask": len(board.to_ask()),
        "filters": [(key, label, len(board.shown(key))) for key, (label, _keep) in FILTERS.items()],
        "which": which,
        "text": board.texts.get(FILM_AND_REVIEW, language_now()),
        "unpublished": [p for p in Purpose.values if not board.texts.version(p)],
        "withdrawn_kept_days": WITHDRAWN_KEPT.days,
    }


@require_safe
def consent(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    board = board_of(_clinic(request, pk))
    shown = request.GET.get("show", "")
    with timezone.override(board.clinic.zone):
        context = _context(board, shown if shown in FILTERS else "all")
        return render(request, "clinics/consent.html", context)


@require_safe
def consent_csv(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """What the board shows, one line per swimmer; `show` filters as on the page."""
    board = board_of(_clinic(request, pk))
    head = [_("Number"), _("Swimmer"), _("Lane group"), _("Asked"), _("Answered")]
    for purpose in Purpose:
        head += [str(purpose.label), _("since"), _("version of the text")]
    lines = board.shown(request.GET.get("show", ""))
    with timezone.override(board.clinic.zone):
        rows = [list(_cells(line)) for line in lines]
    return csv_response(f"consent-{board.clinic.slug}.csv", head, rows)


def _cells(line: Line) -> Iterator[object]:
    yield from (line.entry.number, line.entry.swimmer.name, str(line.entry.lane_group))
    request = line.request
    yield _day(request.asked_at if request else None)
    yield _day(request.answered_at if request else None)
    for purpose in Purpose.values:
        standing = line.by_purpose.get(purpose)
        said = standing.consent if standing else None
        yield standing.state.label if standing else ""
        yield _day((said.ended_at or said.given_at) if said else None)
        yield said.text.version if said and said.text else ""


def _day(instant: Any) -> str:
    return date_format(timezone.localtime(instant), "Y-m-d H:i") if instant else ""


@require_POST
def consent_ask(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """One act: a mail to each who has not answered, or must be asked again."""
    clinic = _clinic(request, pk)
    board = board_of(clinic)
    if board.texts.purposes():
        tell_asked(request, ask(swimmers=board.to_ask(), clinic=clinic, by=me(request)))
    else:
        messages.error(request, _("Publish the texts first: there is nothing to answer yet."))
    return redirect("clinics:consent", pk=clinic.pk)


@never_cache
@require_POST
def consent_link(request: HttpRequest, pk: uuid.UUID, entry: uuid.UUID) -> HttpResponse:
    """A link to hand over in person, shown once: in letters and as a code to photograph."""
    row = _entry(request, pk, entry)
    link = make_link(swimmer=row.swimmer, clinic=row.clinic, by=me(request))
    picture = io.BytesIO()
    segno.make(link, error="m").save(picture, kind="svg", scale=6, border=2)
    code = base64.b64encode(picture.getvalue()).decode()
    told = {"entry": row, "clinic": row.clinic, "link": link, "days": LINK_LASTS.days}
    return render(
        request, "clinics/consent_link.html", told | {"code": f"data:image/svg+xml;base64,{code}"}
    )


def _entry(request: HttpRequest, pk: uuid.UUID, entry: uuid.UUID) -> Entry:
    entries = Entry.objects.filter(clinic=_clinic(request, pk))
    entries = entries.select_related("swimmer__club", "swimmer__user", "clinic__club")
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
    """Ending asks nothing more than recording did, and no fresh sign-in."""
    row = _entry(request, pk, entry)
    end_consent(swimmer=row.swimmer, purpose=FILM_AND_REVIEW, by=me(request))
    told = _("Ended: from now on nobody else sees %(name)s.") % {"name": row.swimmer.name}
    messages.success(request, told)
    return _back(row)
