"""The page of one swim that is being checked: who is it, who else, pass it on."""

from __future__ import annotations

import uuid

from django.contrib import messages
from django.db.models import prefetch_related_objects
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _

from clinics.actions import board
from clinics.actions.check_rows import CheckRefused
from clinics.actions.clip_files import open_swim
from clinics.actions.pass_on import NotPassed, is_passed_whole, reasons_not_to_pass, who_agrees
from clinics.models import Swim
from clinics.views.check_board import swims_to_check
from clinics.views.check_card import BeforeForm
from clinics.views.check_form import CheckForm
from clinics.views.check_page import page_of
from clinics.views.check_whose import after_reassign
from clinics.views.in_picture import in_picture_part
from clinics.views.who import me


def check_swim(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    mine = Swim.objects.handled_by(me(request)).select_related("entry__clinic", "entry__swimmer")
    swim = get_object_or_404(mine, pk=pk)
    open_swim(swim=swim)
    form = CheckForm(request.POST or None, swim=swim)
    if request.method == "POST" and form.is_valid():
        try:
            return _looked_at(request, swim, form)
        except CheckRefused as refusal:
            form.add_error(None, " ".join(refusal.reasons))
    return _show_swim(request, swim, form)


def _looked_at(request: HttpRequest, swim: Swim, form: CheckForm) -> HttpResponse:
    entry = form.somebody_else()
    if entry is None:
        kept = board.look_at(swim=swim, by=me(request), **form.found())
        return _after_look(request, swim, form, kept)
    board.reassign(swim=swim, entry=entry, by=me(request))
    return after_reassign(request, swim, entry)


def _after_look(
    request: HttpRequest, swim: Swim, form: CheckForm, kept: NotPassed | None
) -> HttpResponse:
    """On to the next swim that needs a look, unless this one does still."""
    name, then = swim.entry.swimmer.name, form.cleaned_data["then"]
    if kept is not None:
        messages.warning(request, _("Noted, and not passed on. ") + " ".join(kept.reasons))
        return redirect("clinics:check-swim", pk=swim.pk)
    if then == "pass":
        messages.success(request, _("%(name)s: passed to the coaches.") % {"name": name})
    else:
        messages.success(request, _("%(name)s: noted.") % {"name": name})
    following = _next_to_look_at(request, swim) if then else swim
    if following is None:
        return redirect("clinics:check", pk=swim.entry.clinic_id)
    return redirect("clinics:check-swim", pk=following.pk)


def _next_to_look_at(request: HttpRequest, swim: Swim) -> Swim | None:
    clinic_swims = Swim.objects.filter(entry__clinic_id=swim.entry.clinic_id)
    swims = list(clinic_swims.handled_by(me(request)).order_by("start_at", "pk"))
    begin = next((i for i, one in enumerate(swims) if one.pk == swim.pk), -1) + 1
    rest = [one for one in swims[begin:] + swims[:begin] if one.pk != swim.pk]
    return next((one for one in rest if one.passed_at is None), None)


def _show_swim(request: HttpRequest, swim: Swim, form: CheckForm) -> HttpResponse:
    clinic = swim.entry.clinic
    swims = swims_to_check(clinic, me(request))
    page = page_of(swim, swims, me(request), before_s=BeforeForm(request.GET).before_s())
    near, others = form.people()
    prefetch_related_objects([one.view.clip for one in page.clips], "masks__covers")
    context = {
        "clinic": clinic,
        "swim": page.swim,
        "page": page,
        "form": form,
        "reasons": reasons_not_to_pass(page.swim, who_agrees([page.swim])),
        "passed_whole": is_passed_whole(page.swim),
        "near": near,
        "others": others,
        "others_open": any(person["chosen"] for person in others),
        "ends_open": request.GET.get("ends", ""),
        "masks_open": request.GET.get("masks", ""),
        "cut_open": bool(request.GET.get("cut")),
        **in_picture_part(page.swim),
    }
    with timezone.override(clinic.zone):
        return render(request, "clinics/check_swim.html", context)
