"""The club's page of sign-ups: open and close, hand out the link, who has a place and who waits.

Whoever works for the club sees how many there are, and the link; names are for its admins. What
swimmers told the coaches is on neither.
"""

from __future__ import annotations

import base64
import io
import uuid
from collections.abc import Iterator
from typing import Any

import segno
from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from clinics.actions import sign_up_admin as acts
from clinics.actions.errors import BadInput
from clinics.actions.sign_up_end import withdraw
from clinics.actions.sign_up_places import give_place
from clinics.actions.sign_up_sheet import end_link, room_in_pool_hour, set_sheet, sheet_of
from clinics.actions.sign_up_state import accepts, counts_of, is_over
from clinics.models import Clinic, SignUp, SignUpSheet
from clinics.views.consent_forms import language_now
from clinics.views.plan_places import plan_places
from clinics.views.sign_up_forms import AddForm, DeclineForm, SheetForm
from clinics.views.sign_up_lines import Line, lines_of
from clinics.views.who import me
from clinics.views.words import in_words
from portal.csv_out import csv_response

Errors = list[tuple[str, str]]


def clinic_run(request: HttpRequest, pk: uuid.UUID) -> Clinic:
    rows = Clinic.objects.run_by(me(request)).select_related("club")
    return get_object_or_404(rows, pk=pk)


def clinic_seen(request: HttpRequest, pk: uuid.UUID) -> Clinic:
    rows = Clinic.objects.visible_to(me(request)).select_related("club")
    return get_object_or_404(rows, pk=pk)


@require_http_methods(["GET", "HEAD", "POST"])
def sign_ups(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    if request.method == "POST":
        return _set(request, clinic_run(request, pk))
    return _page(request, clinic_seen(request, pk))


def _page(
    request: HttpRequest,
    clinic: Clinic,
    form: SheetForm | None = None,
    errors: Errors | None = None,
) -> HttpResponse:
    sheet = sheet_of(clinic)
    sheet.clinic = clinic
    runs = Clinic.objects.run_by(me(request)).filter(pk=clinic.pk).exists()
    told: dict[str, Any] = {
        "clinic": clinic,
        "runs": runs,
        "coaches": Clinic.objects.coached_by(me(request)).filter(pk=clinic.pk).exists(),
        "sheet": sheet,
        "accepts": accepts(sheet),
        "over": is_over(clinic),
        "counts": counts_of(sheet),
        "link": link_of(sheet),
        "places_of_plan": plan_places(clinic, "sign-ups"),
        "errors": errors or [],
    }
    with timezone.override(clinic.zone):
        if runs:
            told |= _for_admin(clinic, sheet, form)
        status = 422 if form is not None else 200
        return render(request, "clinics/sign_ups.html", told, status=status)


def _for_admin(clinic: Clinic, sheet: SignUpSheet, form: SheetForm | None) -> dict[str, Any]:
    lines = lines_of(sheet)
    return {
        "lines": lines,
        "to_take_in": sum(line.to_take_in for line in lines),
        "room": room_in_pool_hour(clinic),
        "form": form or SheetForm(instance=sheet),
        "decline_form": DeclineForm(),
    }


def link_of(sheet: SignUpSheet) -> str:
    """To hand out; empty while there is no sheet."""
    if not sheet.token:
        return ""
    return settings.SITE_URL.rstrip("/") + reverse("clinics:sign-up-link", args=[sheet.token])


def _set(request: HttpRequest, clinic: Clinic) -> HttpResponse:
    do, sheet = request.POST.get("do", ""), sheet_of(clinic)
    if do == "new-link" and sheet.token:
        end_link(sheet=sheet, by=me(request))
        messages.success(request, _("The link is a new one. The old one has ended."))
        return _back(clinic)
    with timezone.override(clinic.zone):
        form = SheetForm(request.POST, instance=sheet)
        if not form.is_valid():
            return _page(request, clinic, form)
    values = dict(form.cleaned_data)
    if do in {"open", "close"}:
        values["is_open"] = do == "open"
    try:
        set_sheet(clinic=clinic, values=values, by=me(request))
    except BadInput as bad:
        return _page(request, clinic, form, in_words(bad).errors)
    done = {"open": _("Signing up is open."), "close": _("Signing up is closed.")}
    messages.success(request, done.get(do, _("It is kept.")))
    return _back(clinic)


def _back(clinic: Clinic) -> HttpResponse:
    return redirect("clinics:sign-ups", pk=clinic.pk)


@require_safe
def sign_ups_csv(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    clinic = clinic_run(request, pk)
    head = [_("Name"), _("E-mail address"), _("State"), _("Place on the waiting list")]
    head += [_("Number"), _("Lane group"), _("Stroke"), _("Start"), _("Seconds per 100 m")]
    head += [_("To be filmed"), _("Signed up"), _("How")]
    sheet = sheet_of(clinic)
    sheet.clinic = clinic
    with timezone.override(clinic.zone):
        rows = [list(_cells(line)) for line in lines_of(sheet)]
    return csv_response(f"sign-ups-{clinic.slug}.csv", head, rows)


def _cells(line: Line) -> Iterator[object]:
    row, entry = line.row, line.row.entry
    yield from (row.name, row.email, row.get_state_display(), line.place or "")
    yield from (entry.number, entry.lane_group.name) if entry else ("", "")
    yield from (row.get_stroke_display(), row.get_start_display(), row.pace_s_per_100m)
    yield line.filmed_in_words
    yield date_format(timezone.localtime(row.confirmed_at), "Y-m-d H:i")
    yield row.get_came_display()


@require_safe
def poster(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """The link in letters and as a code for a phone's camera, to print and hang up."""
    clinic = clinic_seen(request, pk)
    sheet = sheet_of(clinic)
    link = link_of(sheet)
    told = {"clinic": clinic, "sheet": sheet, "link": link, "code": _code(link) if link else ""}
    return render(request, "clinics/sign_up_poster.html", told)


def _code(link: str) -> str:
    picture = io.BytesIO()
    segno.make(link, error="m").save(picture, kind="svg", scale=8, border=2)
    return f"data:image/svg+xml;base64,{base64.b64encode(picture.getvalue()).decode()}"


@require_http_methods(["GET", "HEAD", "POST"])
def add(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    clinic = clinic_run(request, pk)
    sheet = get_object_or_404(SignUpSheet.objects.select_related("clinic__club"), pk=clinic.pk)
    form, errors = AddForm(request.POST or None), Errors()
    if request.method == "POST" and form.is_valid():
        said = form.cleaned_data
        try:
            row = acts.add_by_hand(
                sheet=sheet,
                name=said["name"],
                email=said["email"],
                details=form.details(),
                language=language_now(),
                by=me(request),
            )
        except BadInput as bad:
            errors = in_words(bad).errors
        else:
            told = {"name": row.name, "state": row.get_state_display()}
            messages.success(request, _("%(name)s %(state)s.") % told)
            return _back(clinic)
    context = {"clinic": clinic, "form": form, "errors": errors}
    context["places_of_plan"] = plan_places(clinic, "sign-ups")
    status = 422 if request.method == "POST" else 200
    return render(request, "clinics/sign_up_add.html", context, status=status)


@require_POST
def act(request: HttpRequest, pk: uuid.UUID, sign_up: uuid.UUID) -> HttpResponse:
    """One act on one sign-up; `do` says which."""
    clinic, by = clinic_run(request, pk), me(request)
    rows = SignUp.objects.listed_for(by).filter(sheet__clinic=clinic)
    row = get_object_or_404(rows.select_related("sheet__clinic__club"), pk=sign_up)
    do = request.POST.get("do", "")
    steps = {
        "give-place": give_place,
        "withdraw": withdraw,
        "take-out": acts.take_out,
        "write-again": acts.write_again,
    }
    try:
        if do == "decline":
            words = request.POST.get("words", "")[:500]
            acts.decline(sign_up=row, words=words, by=by)
        elif do in steps:
            steps[do](sign_up=row, by=by)  # type: ignore[operator]
    except BadInput as bad:
        messages.error(request, " ".join(in_words(bad).lines()))
    return redirect(f"{reverse('clinics:sign-ups', args=[clinic.pk])}#sign-up-{row.pk}")
